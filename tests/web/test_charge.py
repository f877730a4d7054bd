"""Charge volts: the sentence, the inverter's window, typing mistakes, setting the bank, and the files to keep."""

from __future__ import annotations

import copy
import csv
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from bs4 import BeautifulSoup

from tests.conftest import Client, soup
from tests.web.conftest import HOUSEHOLDS
from webapp.charging_tables import whole_percents
from webapp.downloads import csv_text

LIVE = {"HX-Request": "true", "HX-Request-Type": "partial"}
STORY = Path(__file__).resolve().parent.parent / "households" / "story7.json"
Opener = Callable[[str | dict[str, Any] | None], Client]


def words(page: BeautifulSoup, selector: str) -> str:
    found = page.select_one(selector)
    assert found is not None, selector
    return " ".join(found.get_text(" ").split())


@pytest.fixture
def sodium(client_of: Opener) -> Client:
    """Sodium-ion, 16 in series, on an inverter of 44 (or 40) to 60 V."""
    return client_of("story7.json")


@pytest.fixture
def lfp(client_of: Opener, small_house: dict[str, Any]) -> Client:
    return client_of(small_house)


def figure_of(page: BeautifulSoup, figure_id: str) -> dict[str, Any]:
    plot = page.select_one(f"#{figure_id} [data-figure]")
    assert plot is not None
    figure: dict[str, Any] = json.loads(str(plot["data-figure"]))
    return figure


def test_the_answer_is_a_sentence_of_cell_pack_hold_and_charge(sodium: Client) -> None:
    page = soup(sodium.get("/charge?volts=3.75&hold=no"))
    answer = sodium.get("/charge.json?volts=3.75&hold=no").json()
    said = words(page, ".sentence")
    assert said.startswith("Ended at 3.75 V per cell, 60.0 V for the pack , without a hold, the bank is filled to")
    assert f"{answer['reached']['soc'] * 100:.0f} %: {answer['reached']['kwh']:.1f} kWh" in said
    assert words(page, ".range").startswith("A hold until the current has fallen to 16 A, 0.08C, would add")


# By hand: a setting times 16 cells, to 0.1 V.
@pytest.mark.parametrize(("cell", "pack"), [("3.75", "60.0"), ("3,6", "57.6"), ("2.875", "46.0"), ("3.33", "53.3")])
def test_pack_volts_are_cell_volts_times_the_series_count(sodium: Client, cell: str, pack: str) -> None:
    page = soup(sodium.get("/charge", params={"volts": cell}))
    assert words(page, ".figures dd") == f"{pack} V"
    assert f"{pack} V for the pack" in words(page, ".sentence")


def test_a_hold_changes_the_charge_reached(sodium: Client) -> None:
    held = sodium.get("/charge.json?volts=3.75&hold=yes&charge_a=100").json()
    bare = sodium.get("/charge.json?volts=3.75&hold=no&charge_a=100").json()
    assert held["reached"]["soc"] > bare["reached"]["soc"] + 0.01
    assert held["hold_worth"] == bare["hold_worth"]


def test_more_volts_never_give_less_and_the_chart_is_the_table(sodium: Client) -> None:
    page = soup(sodium.get("/charge"))
    rows = [[cell.get_text() for cell in row.select("td")] for row in page.select("#reached tbody tr")]
    for column in range(2, 5):
        values = [float(row[column]) for row in rows]
        assert values == sorted(values)
    drawn = {trace["name"]: trace for trace in figure_of(page, "reached")["data"]}
    heads = [head.get_text().removesuffix(", %") for head in page.select("#reached thead th")][2:]
    for column, name in enumerate(heads, 2):
        by_volts = dict(zip(drawn[name]["x"], drawn[name]["y"], strict=True))
        for row in rows:
            assert float(row[column]) == pytest.approx(by_volts[float(row[0])], abs=0.51)


def test_volts_above_the_inverter_are_a_stop_before_the_answer(sodium: Client) -> None:
    page = soup(sodium.get("/charge?volts=3.9"))
    stop = words(page, "#answer .note.stop")
    assert "62.4 V" in stop
    assert "60 V" in stop
    text = str(page.select_one("#answer"))
    assert text.index("note stop") < text.index('class="sentence"')
    assert page.find("button", string="Set this on the bank") is None


def test_the_remedy_of_the_stop_saves_and_the_page_shows_the_shares(sodium: Client) -> None:
    page = soup(sodium.get("/charge?load_kw=1&volts=3.9&hold=no"))
    form = page.select_one("#answer .note.stop form")
    assert form is not None
    sent = {str(field["name"]): str(field["value"]) for field in form.select("input")}
    response = sodium.post("/apply", sent)
    assert response.status_code == 303
    assert sodium.document()["banks"][0]["charge_v"] == 3.75
    mended = soup(sodium.get(response.headers["location"]))
    assert words(mended, ".saved p").startswith("Saved ")
    assert not mended.select("#answer .note.stop")
    assert mended.select_one("#load_kw")["value"] == "1"  # type: ignore[index]
    text = words(mended, "#answer")
    shares = re.search(
        r"(\d+) % of its charge lies below the 44 V cut-off .*? (\d+) % inside, .*? and (\d+) % above", text
    )
    assert shares is not None
    assert sum(int(share) for share in shares.groups()) == 100
    assert re.search(r"With the cut-off there \d+ % would lie below 40 V", text)


@pytest.mark.parametrize("parts", [(1 / 3, 1 / 3, 1 / 3), (0.005, 0.99, 0.005), (0.0, 1.0, 0.0), (0.124, 0.745, 0.131)])
def test_whole_percents_sum_to_100_and_are_within_one(parts: tuple[float, ...]) -> None:
    whole = whole_percents(parts)
    assert sum(whole) == 100
    assert all(abs(value - part * 100) < 1 for value, part in zip(whole, parts, strict=True))


def test_every_series_count_sums_to_100_and_the_best_is_named(sodium: Client) -> None:
    page = soup(sodium.get("/charge"))
    rows = page.select("table.spans tbody tr")
    assert [int(row.select_one("th").get_text().split(",")[0][:2]) for row in rows] == [14, 15, 16, 17, 18]  # type: ignore[union-attr]
    for row in rows:
        assert (
            sum(int(row.select_one(f"td[data-label='{part}, %']").get_text()) for part in ("below", "inside", "above"))
            == 100
        )  # type: ignore[union-attr]
    answer = sodium.get("/charge.json").json()
    assert words(page, ".best") == answer["best_series"]["reason"]
    labels = [note["text"] for note in figure_of(page, "span")["layout"]["annotations"]]
    assert any("yours" in label and "% below" in label and "% above" in label for label in labels)


def test_a_flat_stretch_is_hatched_and_said_in_words(lfp: Client) -> None:
    page = soup(lfp.get("/charge?volts=3.4"))
    figure = figure_of(page, "reached")
    bands = [trace for trace in figure["data"] if trace["name"] == "voltage cannot tell charge here"]
    assert bands
    assert bands[0]["fillpattern"]["shape"] == "/"
    assert any("cannot tell charge" in note["text"] for note in figure["layout"]["annotations"])
    rows = [row.get_text(" ") for row in page.select("#reached tbody tr")]
    assert any("voltage cannot tell charge here" in row for row in rows)
    held = next(trace for trace in figure["data"] if trace["name"].startswith("held"))
    low, high = bands[0]["x"][0], bands[0]["x"][-1]
    assert all(y is None for x, y in zip(held["x"], held["y"], strict=True) if low <= x <= high)
    assert "Not controllable by voltage; count ampere-hours" in words(page, "table.targets")


@pytest.mark.parametrize("text", ["60", "60,0", "58.4"])
def test_pack_volts_are_asked_about_never_divided_silently(sodium: Client, text: str) -> None:
    response = sodium.get("/charge", params={"volts": text})
    page = soup(response)
    assert response.status_code == 422
    assert page.select_one("#volts")["value"] == text  # type: ignore[index]
    remedy = page.select_one(".note.check a")
    assert remedy is not None
    mended = soup(sodium.get(str(remedy["href"])))
    meant = float(mended.select_one("#volts")["value"])  # type: ignore[arg-type,index]
    assert meant == pytest.approx(float(text.replace(",", ".")) / 16, abs=0.0005)
    live = sodium.get("/charge", params={"volts": text}, headers=LIVE)
    assert live.status_code == 422
    assert "whole pack" in live.text
    assert "<html" not in live.text


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("volts", "high"),
        ("volts", ""),
        ("volts", "1.2"),
        ("volts", "9"),
        ("volts", "1,234"),
        ("hold", "maybe"),
        ("charge_a", "-4"),
        ("charge_a", "nan"),
        ("tail_a", "300"),
        ("minutes", "-1"),
        ("bench_c", ""),
        ("load_kw", "0"),
        ("low", "96"),
        ("bank", "attic"),
        ("inverter", "moon"),
        ("month", "13"),
    ],
)
def test_bad_questions_are_refused_at_their_field(sodium: Client, name: str, text: str) -> None:
    response = sodium.get("/charge.json", params={name: text})
    assert response.status_code == 422
    assert list(response.json()["errors"]) == [name]
    page = sodium.get("/charge", params={name: text})
    assert page.status_code == 422
    assert soup(page).select_one("title").get_text().startswith("Error")  # type: ignore[union-attr]
    for path in ("/charge.csv", "/charge/alone.html"):
        assert sodium.get(path, params={name: text}).status_code == 422


def test_an_empty_window_is_refused(sodium: Client) -> None:
    assert list(sodium.get("/charge.json?low=80&high=20").json()["errors"]) == ["high"]


def test_a_narrow_window_says_what_it_costs(sodium: Client) -> None:
    answer = sodium.get("/charge.json?volts=3.75&low=30&high=80").json()["narrow"]
    text = words(soup(sodium.get("/charge?volts=3.75&low=30&high=80")), "#answer")
    assert f"it costs {answer['cost_kwh']:.1f} kWh" in text
    assert answer["usable_kwh"] + answer["cost_kwh"] == pytest.approx(answer["widest_kwh"])


def test_a_share_typed_for_percent_is_asked_about(sodium: Client) -> None:
    remedy = soup(sodium.get("/charge?low=0.2")).select_one(".note.check a")
    assert remedy is not None
    assert "low=20" in str(remedy["href"])


def test_setting_the_bank_saves_volts_and_hold(lfp: Client) -> None:
    page = soup(lfp.get("/charge?volts=3.42&hold=no&charge_a=30"))
    form = page.select_one(".setit form")
    assert form is not None
    sent = {str(field["name"]): str(field["value"]) for field in form.select("input")}
    response = lfp.post("/apply", sent)
    bank = lfp.document()["banks"][0]
    assert (bank["charge_v"], bank["hold"]) == (3.42, False)
    back = soup(lfp.get(response.headers["location"]))
    assert "charge ends at 3.42 V per cell, not held" in words(back, ".saved")
    assert back.select_one("#charge_a")["value"] == "30"  # type: ignore[index]
    assert "This is how" in words(back, ".setit")


def test_volts_that_end_the_charge_sooner_are_cleared(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0]["top_v"] = 3.4
    client = client_of(small_house)
    form = soup(client.get("/charge?volts=3.5&hold=no")).select_one(".setit form")
    assert form is not None
    client.post("/apply", {str(field["name"]): str(field["value"]) for field in form.select("input")})
    assert client.document()["banks"][0]["top_v"] is None


def test_any_bank_may_be_asked_joined_or_not(client_of: Opener) -> None:
    client = client_of(None)
    page = soup(client.get("/charge?bank=new"))
    assert [option["value"] for option in page.select("#bank option")] == ["old", "new"]
    assert "sodium-ion bank" in words(page, ".sentence").lower()
    assert page.select("table.spans tbody tr.own")
    assert "Sodium-ion bank is not joined to House inverter" in words(page, "#answer")
    alone = soup(client.get("/charge?bank=new&inverter=none"))
    assert not alone.select("table.spans")
    assert "No inverter to set the pack against" in words(alone, "#answer")
    lead = words(soup(client.get("/charge?bank=old")), ".cautions")
    assert "hydrogen" in lead


def test_without_a_bank_the_page_says_what_to_enter(client_of: Opener, small_house: dict[str, Any]) -> None:
    client = client_of(small_house | {"banks": []})
    page = soup(client.get("/charge"))
    assert "There is no bank yet" in words(page, ".empty")
    assert client.get("/charge.json").status_code == 422
    assert client.get("/charge.csv").status_code == 422


def test_cautions_and_terms_stand_on_the_page(sodium: Client) -> None:
    page = soup(sodium.get("/charge"))
    text = words(page, ".cautions")
    for caution in ("DC arcs", "below 0 °C", "not a listed product", "not an approval"):
        assert caution in text
    whole = words(page, "main")
    for term in ("absorption", "tail current", "volts kept after the charge has ended", "0.1C fills in ten hours"):
        assert term in whole


def test_the_table_as_a_file(sodium: Client) -> None:
    response = sodium.get("/charge.csv?volts=3.75&hold=no")
    assert response.headers["content-type"] == "text/csv; charset=utf-8"
    assert response.headers["content-disposition"] == 'attachment; filename="charge-volts-Bank.csv"'
    assert response.content.startswith(b"\xef\xbb\xbf")
    head, *rows = csv.reader(io.StringIO(response.content.decode("utf-8-sig")))
    assert head[:3] == ["End of charge, V per cell", "Pack, V", "Held, % of tested Ah"]
    answer = sodium.get("/charge.json?volts=3.75&hold=no").json()
    assert len(rows) == len(answer["rows"])
    for row, line in zip(answer["rows"], rows, strict=True):
        assert float(line[0]) == pytest.approx(row["cell_v"], abs=0.005)
        assert float(line[3]) == pytest.approx(row["no_hold_soc"] * 100, abs=0.051)
        assert ("stop: above the 60 V" in line[-1]) == (row["pack_v"] > 60.0001)


@pytest.mark.parametrize("text", ["=2+5", "+1", "-1", "@cmd", "\t=1", " =1", "\r=1"])
def test_a_text_that_a_spreadsheet_would_run_is_guarded(text: str) -> None:
    written = csv_text(["what", text], [[text, -1.5]]).removeprefix("\ufeff")
    assert list(csv.reader(io.StringIO(written, newline=""))) == [["what", f"'{text}"], [f"'{text}", "-1.5"]]


def test_a_file_is_named_after_its_bank_in_plain_letters(client_of: Opener) -> None:
    house = json.loads(STORY.read_text(encoding="utf-8"))
    house["banks"][0]["name"] = 'Attic "\r\n../cmd'
    response = client_of(house).get("/charge.csv")
    assert response.headers["content-disposition"] == 'attachment; filename="charge-volts-Attic-cmd.csv"'


def test_the_file_of_its_own_holds_everything_and_asks_for_nothing(client_of: Opener) -> None:
    house = copy.deepcopy(json.loads(STORY.read_text(encoding="utf-8")))
    house["name"] = "</script><script>alert(1)</script>"
    house["banks"][0]["name"] = "Bank</script><!--"
    client = client_of(house)
    response = client.get("/charge/alone.html?volts=3.95")
    assert response.headers["content-disposition"].startswith("attachment; filename=")
    assert "<script>alert(1)" not in response.text
    page = soup(response)
    assert len(page.select("script")) == 2
    assert not page.select("script[src], link, img, form, button, a[href^='/']")
    assert "default-src 'none'" in str(page.select_one("meta[http-equiv]"))
    assert len(page.select("[data-figure]")) == 2
    assert words(page, ".note.stop")
    assert page.select(".assumed tbody tr")
    assert "Ended at 3.95 V per cell" in words(page, ".sentence")


@pytest.fixture
def pressed(lfp: Client) -> dict[str, str]:
    """What the button under an answer sends."""
    form = soup(lfp.get("/charge?volts=3.4&hold=no&charge_a=40")).select_one(".setit form")
    assert form is not None
    return {str(field["name"]): str(field["value"]) for field in form.select("input")}


def test_a_late_press_keeps_the_way_back_with_all_that_was_typed(lfp: Client, pressed: dict[str, str]) -> None:
    lfp.post("/files/rename", {"revision": "1", "name": "Renamed meanwhile", "note": ""})
    before = lfp.document()
    response = lfp.post("/apply", pressed)
    assert response.status_code == 409
    assert "named Renamed meanwhile" in words(soup(response), "main")
    way = soup(response).select_one("main a.button")
    assert way is not None
    again = soup(lfp.get(str(way["href"])))
    assert [again.select_one(f"#{name}")["value"] for name in ("volts", "charge_a")] == ["3.4", "40"]  # type: ignore[index]
    assert again.select_one("#hold option[selected]")["value"] == "no"  # type: ignore[index]
    assert not again.select(".saved")
    assert lfp.document() == before


def test_the_way_back_of_a_refusal_stays_here(lfp: Client, pressed: dict[str, str]) -> None:
    response = lfp.post("/apply", pressed | {"revision": "9", "from": "//elsewhere.example/"})
    assert soup(response).select_one("main a.button")["href"] == "/files"  # type: ignore[index]


def test_a_press_for_one_household_never_changes_another(lfp: Client, pressed: dict[str, str]) -> None:
    copy_of_it = json.dumps(lfp.document() | {"name": "The neighbours"}).encode()
    lfp.post("/files/upload", files={"file": ("bb.json", copy_of_it, "application/json")})
    other = lfp.store.current()
    assert str(other.revision) == pressed["revision"]
    response = lfp.post("/apply", pressed)
    assert response.status_code == 409
    assert "“The neighbours” was opened elsewhere" in words(soup(response), "main")
    assert lfp.store.current() == other


def test_banks_today_and_charge_volts_say_at_which_current_each_share_holds(client_of: Opener) -> None:
    document = json.loads((STORY.parent / "first_hour.json").read_text(encoding="utf-8"))
    document["banks"][0]["inverter"], document["banks"][1]["inverter"] = "", "main"
    client = client_of(document)
    start = client.get("/today.json").json()["banks"][0]["start_soc"]
    answer = client.get("/charge.json?bank=sodium").json()
    assert answer["counted"]["soc"] == pytest.approx(start)
    assert answer["reached"]["soc"] < start
    banks = words(soup(client.get("/banks")), "#bank-sodium").replace("\u00a0", " ")
    # 0.1C of 210 Ah.
    assert f"Then filled to {100 * start:.1f} % of the Ah on the label, at 21.0 A, a day’s mean current" in banks
    told = words(soup(client.get("/charge?bank=sodium")), ".figures").replace("\u00a0", " ")
    assert (
        f"at {answer['charge_a']:.1f} A, cells at 15 °C; Banks and Today count {100 * start:.1f} %, at the 21.0 A"
        in told
    )


def test_the_stop_of_a_charge_current_stands_on_today_and_banks_too(client_of: Opener) -> None:
    house = json.loads((HOUSEHOLDS / "flooded_24v.json").read_text(encoding="utf-8"))
    house["inverters"][0].pop("charge_limit_a")
    house["site"]["time_zone"] = "UTC"
    client = client_of(house)
    said = {}
    for path in ("/today", "/banks", "/sheet", "/commissioning", "/charge"):
        stops = [" ".join(note.get_text().split()) for note in soup(client.get(path)).select(".note.stop")]
        said[path] = [stop for stop in stops if "can give" in stop and "the cells, at most 0.15C" in stop]
    assert {path: len(found) for path, found in said.items()} == dict.fromkeys(said, 1)
    assert len({found[0] for found in said.values()}) == 1
