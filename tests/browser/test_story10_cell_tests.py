"""Story 10, cell tests: a bench file brought, looked over, read and used in a bank, in a browser and in few clicks."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import Opener
from tests.browser.looking import NARROW, fits
from webapp import bench_example

CELLS = "Zelle;Kapazität Ah;Innenwiderstand mOhm\n" + "".join(
    f"Z{number};{230 + number * 7 % 11},{number % 10};0,{20 + number % 3}\n" for number in range(1, 17)
)
"""Sixteen invented cells; Z11 holds least: 230 + 77 mod 11 = 230, and 0.1."""
# Check values, common practice, no source: a sodium-ion cell of 1.3 Ah; charged at 0.65 A, held to 0.1 A.
TABLE = (
    "Charge voltage [V];No hold [mAh];With hold [mAh]\n"
    "2,0;1;4\n2,4;79;125\n2,8;250;290\n3,0;560;606\n3,6;1052;1105\n3,8;1212;1245\n3,95;1272;1315\n"
)
SODIUM = {
    "chemistry": "sodium_layered",
    "series": 16,
    "parallel": 1,
    "label_ah": 1.5,
    "reserve_soc": 0.1,
    "board": {"cell_low_v": 1.6, "cell_high_v": 4.0, "charge_min_c": 2.0, "current_limit_a": 200.0},
}
Served = Callable[..., str]


@pytest.fixture
def site(serve: Served, tmp_path: Path, small_house: dict[str, Any]) -> str:
    """A server with a bank A of 16 LFP cells of 280 Ah and a steady load: any ampere-hour less is minutes less."""
    small_house["banks"][0] |= {"name": "Bank A", "parallel": 1}
    del small_house["loads"][1:]
    return serve(_kept(tmp_path, small_house))


@pytest.fixture
def sodium_site(serve: Served, tmp_path: Path, small_house: dict[str, Any]) -> str:
    """A server with a bank of 16 small sodium-ion cells on an inverter that takes their volts."""
    small_house["banks"][0] |= SODIUM
    small_house["inverters"][0] |= {"dc_min_v": 26.0, "restart_v": 40.0, "dc_max_v": 66.0, "charge_limit_a": 0.7}
    return serve(_kept(tmp_path, small_house))


def _kept(folder: Path, document: dict[str, Any]) -> Path:
    path = folder / "household.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def _file(folder: Path, content: str | bytes, name: str) -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


class Hand:
    """Presses, and counts: a choice in a list, a file and a typed number count like a click."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.clicks = 0

    def press(self, what: Locator) -> None:
        """Click."""
        self.clicks += 1
        what.click()

    def type(self, field: Locator, text: str) -> None:
        """Type into a field."""
        self.clicks += 1
        field.fill(text)

    def choose(self, file: Path) -> None:
        """Choose a file."""
        self.clicks += 1
        self.page.locator("#file").set_input_files(file)


def bring(page: Page, site: str, file: Path) -> None:
    """Upload one file."""
    page.goto(f"{site}/cell-tests")
    page.locator("#file").set_input_files(file)
    page.get_by_role("button", name="Look at it").click()
    page.wait_for_url(re.compile(r"/cell-tests/\d+$"))


def test_sixteen_cells_from_a_file_change_today_and_undo_restores(open_page: Opener, site: str, tmp_path: Path) -> None:
    today = f"{site}/today?charge=60&sky=none"
    page = open_page(today)
    before = page.locator("#answer .sentence").inner_text()
    bring(page, site, _file(tmp_path, CELLS, "shelf.csv"))
    expect(page.locator("table.reads tbody tr")).to_have_count(3)
    expect(page.locator("#kind")).to_have_value("cells")
    expect(page.locator(".reads tr", has_text="Kapazität").locator("option:checked")).to_have_text(re.compile("Ah"))
    page.get_by_text("The first rows as they stand in the file").click()
    expect(page.locator("table.raw")).to_contain_text("237,1")
    page.get_by_role("button", name="Yes, read it like this").click()
    expect(page.locator(".sentence")).to_contain_text("The weakest of 16 cells is “Z11” with 230")
    expect(page.locator(".figures")).to_contain_text("230.1")
    page.get_by_role("button", name="Use it").click()
    expect(page.locator("#use [role=status]")).to_contain_text("Bank A now has what this test found")
    page.goto(today)
    expect(page.locator("#answer .sentence")).not_to_have_text(before)
    page.goto(f"{site}/cell-tests/1?used=store")
    page.locator("#use").get_by_role("button", name="Undo").click()
    page.goto(today)
    expect(page.locator("#answer .sentence")).to_have_text(before)


def test_units_can_be_corrected_before_it_is_read(open_page: Opener, site: str, tmp_path: Path) -> None:
    page = open_page(site)
    bring(page, site, _file(tmp_path, CELLS.replace("Kapazität Ah", "Kapazität"), "shelf.csv"))
    unit = page.locator(".reads tr", has_text="Kapazität").locator("select")
    chosen = unit.locator("option", has_text="mAh").first.get_attribute("value")
    assert chosen is not None
    unit.select_option(chosen)
    page.get_by_role("button", name="Yes, read it like this").click()
    expect(page.locator(".sentence")).to_contain_text("with 0.230")


def test_a_file_of_80_megabytes_is_refused_in_a_sentence_and_nothing_typed_is_lost(
    open_page: Opener, site: str, tmp_path: Path
) -> None:
    page = open_page(f"{site}/cell-tests")
    big = tmp_path / "big.csv"
    with big.open("wb") as file:
        file.truncate(80 * 1024**2)
    page.locator("#pasted").fill("3.2;1.5")
    page.locator("#file").set_input_files(big)
    page.get_by_role("button", name="Look at it").click()
    expect(page.locator("#file-error")).to_have_text(
        "“big.csv” is 80 MB long; files of up to 64 MB are read. It was not sent and nothing was changed."
    )
    expect(page.locator("#file")).to_be_focused()
    expect(page.locator("#pasted")).to_have_value("3.2;1.5")
    page.reload()
    expect(page.locator(".empty")).to_be_visible()


def test_without_scripts_80_megabytes_are_refused_on_a_page_that_says_so(
    open_page: Opener, site: str, tmp_path: Path
) -> None:
    page = open_page(f"{site}/cell-tests", may_log="413", java_script_enabled=False)
    big = tmp_path / "big.csv"
    with big.open("wb") as file:
        file.truncate(80 * 1024**2)
    page.locator("#file").set_input_files(big)
    page.get_by_role("button", name="Look at it").click()
    expect(page.locator("main")).to_contain_text("reads files of up to 64 MB here; nothing was changed")
    page.goto(f"{site}/cell-tests")
    expect(page.locator(".empty")).to_be_visible()


def test_a_log_becomes_a_charge_setting_in_under_ten_clicks(
    open_page: Opener, sodium_site: str, tmp_path: Path
) -> None:
    page = open_page(sodium_site)
    hand = Hand(page)
    hand.press(page.locator("nav.rail").get_by_role("link", name="Cell tests"))
    hand.choose(_file(tmp_path, bench_example.log(), "cell.csv"))
    hand.press(page.get_by_role("button", name="Look at it"))
    hand.press(page.get_by_role("button", name="Yes, read it like this"))
    expect(page.locator(".sentence")).to_contain_text("This cell gave 1.42")
    hand.press(page.get_by_role("button", name="Use it"))
    hand.press(page.locator("#use").get_by_role("link", name=re.compile("Charge volts")))
    hand.type(page.locator("#volts"), "3,8")
    expect(page.locator("#answer .sentence")).to_contain_text("3.80")
    hand.press(page.get_by_role("button", name="Set this on the bank"))
    expect(page.locator(".saved")).to_be_visible()
    (bank,) = page.request.get(f"{sodium_site}/files/household.json").json()["banks"]
    assert bank["charge_v"] == 3.8
    assert bank["chemistry"]["id"] == "sodium_layered/test-1"
    assert hand.clicks < 10


def test_a_table_shows_percent_and_says_nothing_below(open_page: Opener, sodium_site: str, tmp_path: Path) -> None:
    page = open_page(sodium_site)
    bring(page, sodium_site, _file(tmp_path, TABLE, "table.csv"))
    page.locator("#charge_a").fill("0,65")
    page.locator("#tail_a").fill("0,1")
    page.get_by_role("button", name="Yes, read it like this").click()
    expect(page.locator(".sentence")).to_contain_text("nothing below 2.0")
    row = page.locator("table.curve tr", has=page.get_by_role("rowheader", name="3.00 V"))
    expect(row).to_contain_text("42.6")
    expect(row).to_contain_text("46.1")


def test_the_curve_names_its_lines_and_every_picture_is_drawn(open_page: Opener, sodium_site: str) -> None:
    page = open_page(f"{sodium_site}/cell-tests")
    page.get_by_role("button", name="Try it with a made-up log").click()
    page.get_by_role("button", name="Yes, read it like this").click()
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    expect(page.locator(".plot.drawn")).to_have_count(3)
    names = page.locator("#usable .annotation-text").all_text_contents()
    rate = page.request.get(f"{sodium_site}/charge.json?bank=store").json()["charge_c"]
    assert names == ["on the bench", "held", f"at {rate:.2g}C"]
    expect(page.locator("#charge-discharge .annotation-text")).to_have_text(["charge", "discharge"])


def test_the_whole_way_works_without_scripts(open_page: Opener, sodium_site: str) -> None:
    page = open_page(f"{sodium_site}/cell-tests", java_script_enabled=False)
    page.locator("#pasted").fill(bench_example.log().decode())
    page.get_by_role("button", name="Look at it").click()
    page.locator("#kind").select_option("cells")
    page.get_by_role("button", name="Show the choices of another kind").click()
    expect(page.locator("#parallel")).to_be_visible()
    page.locator("#kind").select_option("log")
    page.get_by_role("button", name="Show the choices of another kind").click()
    page.get_by_role("button", name="Yes, read it like this").click()
    expect(page.locator("table.curve tbody tr").first).to_be_visible()
    page.get_by_role("button", name="Use it").click()
    expect(page.locator("#use [role=status]")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_of_a_test_fits_a_phone(open_page: Opener, sodium_site: str, tmp_path: Path, scheme: str) -> None:
    page = open_page(f"{sodium_site}/cell-tests", viewport=NARROW, color_scheme=scheme)
    for content in (bench_example.log(), TABLE, CELLS):
        bring(page, sodium_site, _file(tmp_path, content, "bench.csv"))
        for name in ("#charge_a", "#tail_a"):
            if page.locator(name).count():
                page.locator(name).fill("0.1")
        fits(page)
        page.get_by_role("button", name="Yes, read it like this").click()
        expect(page.locator(".sentence")).to_be_visible()
        fits(page)
    for path in ("/cell-tests", "/cell-tests/plan?question=whole_curve"):
        page.goto(sodium_site + path)
        fits(page)


NARROW_TARGETS = """() => [...document.querySelectorAll('.rows a, .note a')]
  .filter((e) => { const r = e.getBoundingClientRect(); return r.width < 43.5 || r.height < 43.5; })
  .map((e) => e.outerHTML.slice(0, 90))"""


def test_short_names_and_links_in_notes_are_as_large_as_a_finger(open_page: Opener, site: str, tmp_path: Path) -> None:
    page = open_page(f"{site}/cell-tests", viewport=NARROW)
    bring(page, site, _file(tmp_path, CELLS, "a.csv"))
    for path in ("/cell-tests", "/cell-tests/plan?kept=1"):
        page.goto(site + path)
        expect(page.locator(".rows a, .note a").first).to_be_visible()
        assert page.evaluate(NARROW_TARGETS) == [], path


def test_even_groups_fit_a_phone_and_kept_goes_with_its_question(open_page: Opener, site: str, tmp_path: Path) -> None:
    page = open_page(f"{site}/cell-tests", viewport=NARROW)
    even = "cell;Ah\n" + "".join(f"Z{n};{ah}\n" for n, ah in enumerate(["1.1", "2.2", "1.5", "1.8", "1.2", "2.1"]))
    bring(page, site, _file(tmp_path, even, "even.csv"))
    page.locator("#series").fill("3")
    page.locator("#parallel").fill("2")
    page.get_by_role("button", name="Yes, read it like this").click()
    expect(page.locator("td[data-label^=beyond]")).to_have_text(["0.0000"] * 3)
    fits(page)
    page.goto(f"{site}/cell-tests/plan?kept=1")
    expect(page.get_by_text("Kept. Bring the log")).to_be_visible()
    page.locator("#label_ah").fill("90")
    expect(page.get_by_text("Kept. Bring the log")).to_have_count(0)


def test_a_plan_answers_while_it_is_typed_and_is_kept(open_page: Opener, sodium_site: str) -> None:
    page = open_page(f"{sodium_site}/cell-tests/plan")
    before = page.locator(".sentence").inner_text()
    page.locator("#charge_a").fill("0,75")
    expect(page.locator("#answer .sentence")).not_to_have_text(before)
    assert page.evaluate("document.activeElement.id") == "charge_a"
    page.get_by_role("button", name="Keep this plan").click()
    expect(page.get_by_role("heading", name="Kept plans")).to_be_visible()
    expect(page.locator("#charge_a")).to_have_value("0,75")
