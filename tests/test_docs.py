"""The documents tell the truth: numbers are recomputed, commands, addresses, links, pages and buttons exist."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from engine.__main__ import main as engine_main
from engine.answers.sizing import sizing
from engine.sky.days import owner_dull_day
from engine.sky.world import ROUGH
from tests.conftest import Client, form_of, soup
from tests.engine.test_answers import house, lasts
from tests.web.test_method import years_off
from webapp import __version__
from webapp.__main__ import arguments
from webapp.app import PAGES
from webapp.method_accuracy import ACCURACIES
from webapp.pages.run import NO_GENERATOR
from webapp.render import fixed

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DOCUMENTS = ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "benchmarks/MEASURED.md", "data/SOURCES.md")
MOST_PICTURE_BYTES = 120_000
MADE_UP = re.compile(r"standby|/lto\.")
"""Files of the recipes' own making."""


def text_of(name: str) -> str:
    """A document as it stands."""
    return (ROOT / name).read_text(encoding="utf-8")


def section(title: str, of: str = README) -> str:
    """What stands under a heading of the second order."""
    return of.split(f"\n## {title}\n")[1].split("\n## ", maxsplit=1)[0]


def rows(text: str) -> list[list[str]]:
    """The cells of the first table of a text, its head left out."""
    table = re.search(r"(?:^\|.*\n)+", text, re.MULTILINE)
    assert table is not None
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table[0].splitlines()[2:]]


# Numbers


def test_hours_of_the_readme_are_recomputed() -> None:
    ideal, real = lasts(house()), lasts(house(chemistry="lfp"))
    lost = {line.label: line.value for line in real.banks[0].worked}["Lost inside the cells"]
    bank = house().banks[0]
    drawn_w = 300 / 0.93 + 40
    assert f"= {bank.label_kwh:.3f} kWh" in README
    assert f"{0.6 * bank.label_kwh:.3f} kWh / {drawn_w:.1f} W = **{ideal.hours_to_reserve:.1f} h**" in README
    assert f"**{real.hours_to_reserve:.1f} h**, because its volts lie a little above 3.2 V and {lost:.2f} kWh" in README


def test_sizes_of_the_readme_are_recomputed() -> None:
    home = house("story5")
    answer = sizing(home, home.supplies()[0], 3, 12, owner_dull_day(home.site, home.sun, 12))
    assert f"= **{answer.usable_kwh:.1f} kWh** usable" in README
    assert f"**{answer.label_kwh:.1f} kWh** on the label" in README
    assert f"**{answer.strings} strings**" in README


def test_how_rough_the_world_table_is_is_said_alike_everywhere() -> None:
    for name in ("README.md", "CHANGELOG.md"):
        assert ROUGH in " ".join(text_of(name).split()), name


def told(id: str, digits: int = 1) -> list[str]:
    """The numbers of one accuracy, which `tests/web/test_method.py` measures again, as people read them."""
    one = next(one for one in ACCURACIES if one.id == id)
    return [fixed(number, digits) for number in one.numbers]


def signed(text: str) -> str:
    """A number with the plus that a difference has."""
    return text if text.startswith("−") or not float(text) else f"+{text}"


def test_how_good_it_is_says_what_the_page_says() -> None:
    found = {row[0]: row[2] for row in rows(section("How good it is"))}
    world, dull, yields = told("world-months"), told("dull-plane"), told("dull-yield")
    lfp, nmc = told("charge-lfp"), told("charge-nmc")
    table, log, sodium = told("bench-table"), told("bench-log"), told("sodium")
    number = lambda text: float(text.replace("−", "-"))  # noqa: E731
    mean, worst = max(lfp[:2] + nmc[:2], key=number), max(lfp[3:5] + nmc[3:5], key=number)
    said = {
        "Sun's place": f"within {told('sun', 2)[0]}°",
        "Clear days of a month, 55° S to 65° N": f"within {told('clear-day')[0]} %",
        "How clear the months are, from the world table": f"{world[0]} to {signed(world[1])} % in single months",
        "Charge reached by volts, 0.1C and 0.2C, no hold": f"mean {mean} points, worst {worst}",
        "Discharge energy of LFP and NMC, 0.1C and 0.2C": f"within {max(map(number, told('energy')))} %",
        "Sodium-ion stopped at 2.4 to 3.8 V, 0.5C": f"{sodium[0][1:]} to {min(sodium, key=number)[1:]} points low",
        "A bench table made at 0.5C, read at 0.1C: LFP, NMC": f"mean {table[0]} and {table[4]} points, "
        f"worst {table[2]} and {table[6]}",
        "Held column from one logged charge and discharge: LFP, NMC": f"mean {log[0]} and {log[2]} points, "
        f"worst {log[1]} and {log[3]}",
    }
    assert {name: found[name] for name in said} == said
    light = found["Light on tilted panels, dull days; all days"]
    assert light.startswith(f"{min(dull, key=number)} to {signed(max(dull, key=number))} %; ")
    of_yield = found["Yield of dull days, at the files' air temperature"]
    assert of_yield.startswith(f"{min(yields, key=number)} to {max(yields, key=number)} %")


def test_light_of_all_days_is_measured_again() -> None:
    off = years_off(of_plane=True, dull_only=False)
    said = rows(section("How good it is"))
    light = next(row[2] for row in said if row[0].startswith("Light on tilted panels"))
    assert light.endswith(f"; {fixed(min(off), 1)} to {fixed(max(off), 1)} %")


def test_made_spells_are_told_alike_where_they_were_measured_and_where_they_are_said(example: Client) -> None:
    trials = section("The numbers inside", text_of("benchmarks/MEASURED.md")).split("| made from |")[1]
    measured = [[cell.strip() for cell in line.split("|")[2:7]] for line in trials.splitlines()[2:5]]
    table = next(
        table
        for table in soup(example.get("/method")).select("#spells table")
        if "three stations" in table.caption.text
    )
    told = [[cell.text.split(" (")[0] for cell in row.find_all(["th", "td"])] for row in table.select("tbody tr")]
    assert [[cell.replace("−", "-") for cell in row] for row in told] == measured
    row = next(row for row in rows(section("How good it is")) if row[0].startswith("Worst 3, 7 and 14 days"))
    assert row[2].startswith("{}, {} and {} apart in kc".format(*(one[1] for one in measured)))


# Commands and addresses


def test_the_newest_release_of_the_changelog_is_this_version_unless_more_is_to_come() -> None:
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    parts = re.findall(r"^## \[([^\]]+)\][^\n]*\n(.*?)(?=^## \[|\Z)", changes, re.MULTILINE | re.DOTALL)
    to_come = [text.strip() for name, text in parts if name == "Unreleased"]
    newest = next(name for name, _ in parts if name != "Unreleased")
    numbers = [tuple(map(int, one.split("."))) for one in (__version__, newest)]
    assert numbers[0] > numbers[1] if any(to_come) else numbers[0] == numbers[1]


def test_commands_stand_by_line_15() -> None:
    lines = README.splitlines()
    for command in ("-e . && .venv/bin/python -m webapp", "-e '.[test]' && .venv/bin/python -m pytest"):
        found = [number for number, line in enumerate(lines, 1) if command in line]
        assert found
        assert found[0] <= 15


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_every_start_that_is_named_has_those_flags(name: str) -> None:
    text = " ".join(text_of(name).split())
    stand_ins = {"N": "8500"}
    starts = re.findall(r"python -m webapp((?: (?:--)?[\w-]+)*)", text)
    assert len(starts) >= 1
    for words in starts:
        flags = re.match(r"(?: --[\w-]+(?: (?!--)[\w./-]+)?)*", words)
        assert flags is not None
        arguments([stand_ins.get(word, word) for word in flags[0].split()])
    for flag in re.findall(r"`(--(?:lan|allow-host|pass-phrase-file|port|household|data-dir)[^`]*)`", text):
        arguments(flag.split())


def test_every_module_that_is_run_by_name_exists() -> None:
    for name in DOCUMENTS:
        for module in re.findall(r"python -m ([a-z_.]+)", text_of(name)):
            top = ROOT.joinpath(*module.split("."))
            assert module == "pytest" or top.with_suffix(".py").exists() or (top / "__main__.py").exists(), module


def test_the_question_for_many_households_answers_in_a_line_each(capsys: pytest.CaptureFixture[str]) -> None:
    command = re.search(r"`python -m engine ask (\w+) FILES\.\.\.`", README)
    assert command is not None
    files = [str(ROOT / "tests/households/h.json"), str(ROOT / "data/example.json")]
    assert engine_main(["ask", command[1], files[1]]) == 0
    line = json.loads(capsys.readouterr().out)
    assert set(line) == {"file", "answer"}
    assert line["file"] == files[1]


WITH_A_GENERATOR = ("/run.json",)
"""README says that these need one, which the example has not."""


def addresses() -> list[str]:
    """Every address of JSON that README names."""
    return sorted(set(re.findall(r"`(/[\w-]+\.json[^`]*)`", README)))


@pytest.mark.parametrize("address", addresses())
def test_every_json_address_of_the_readme_answers_for_the_example(example: Client, address: str) -> None:
    answer = example.get(address)
    if address in WITH_A_GENERATOR:
        assert answer.json() == {"errors": {"household": NO_GENERATOR}}
    else:
        assert answer.status_code == 200, answer.text
        assert answer.json()


def test_every_page_that_answers_is_among_the_addresses(example: Client) -> None:
    named = {address.split(".")[0] for address in addresses()}
    asks = {module.PAGE.path for module in PAGES if module.PAGE.group == "Ask"}
    assert {path for path in asks if example.get(f"{path}.json").status_code in (200, 422)} <= named


# Links and names


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_anchors_and_named_files_exist(name: str) -> None:
    text = text_of(name)
    for target in re.findall(r"\]\((?!http)([^)]+)\)", text):
        path, _, anchor = target.partition("#")
        file = (ROOT / name).parent / path if path else ROOT / name
        assert file.exists(), target
        assert not anchor or anchor in anchors(file.read_text(encoding="utf-8")), target
    folders = "engine|webapp|data|static|templates|tests|benchmarks|examples"
    for path in re.findall(rf"`((?:{folders})/[\w./-]+\.\w+)`", text):
        assert (ROOT / path).exists() or MADE_UP.search(path), path


def anchors(text: str) -> set[str]:
    """The anchors of a document's headings, as a forge makes them."""
    titles = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).strip().replace(" ", "-") for title in titles}


def test_rooms_name_modules_that_are_there() -> None:
    rooms = section("The house and its rooms", text_of("DEVELOPERS.md"))
    room = ""
    for row in rows(rooms):
        room = row[0].strip("`/") or room
        folder = ROOT / "engine" / ("" if room == "(top)" else room)
        for name in re.findall(r"`([\w*/]+)`", row[1]):
            assert list(folder.glob(f"{name}.py")) or (folder / name).is_dir(), f"{room}: {name}"
    pages = rooms.split("the pages**")[1]
    for row in rows(pages):
        for name in re.findall(r"`([\w*]+)`", row[0]):
            assert list((ROOT / "webapp").glob(f"{name}.py")), name


def test_no_document_names_a_place_on_a_machine() -> None:
    for name in DOCUMENTS:
        assert not re.search(r"(?:/home/|/root/|/tmp/|C:\\)", text_of(name))


def test_the_table_of_pages_is_the_menu() -> None:
    named = [name for row in rows(section("What it answers")) for name in row[0].split(", ")]
    assert sorted(named) == sorted(module.PAGE.title for module in PAGES)


def words_of(pages: list[Any]) -> str:
    """All that can be read on some pages, buttons and titles of lists among it."""
    parts = (" ".join(part.get_text().split()) for page in pages for part in page.select(WORDED))
    return "\n".join(part.removesuffix(" needed") for part in parts)


WORDED = "label, button, summary, legend, h1, h2, a, a.button"


def test_your_first_hour_names_pages_and_buttons_that_are_there(example: Client) -> None:
    hour = " ".join(section("Your first hour").split("\n\n| ")[0].split())
    titles = {module.PAGE.title for module in PAGES}
    bold = re.findall(r"\*\*([^*]+)\*\*", hour)
    steps = {"The label of a cell and the sheet of its board", "The inverter’s manual", "The meter or the yearly bill"}
    steps |= {"The roof", "A test of your cells", "Bold"}
    heads = {name for name in bold if name.endswith((".", "?"))} | steps
    assert set(bold) - heads <= titles
    assert {"Today", "Files", "Banks", "Loads", "Sun", "Cell tests", "Bank size", "Sheet"} <= set(bold)
    pages = first_hour_pages(example)
    there = words_of(pages).splitlines()
    pressed = set(re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", hour)) - {"slanted"}
    assert len(pressed) > 25
    assert {one for one in pressed if one not in there} == set()


def first_hour_pages(client: Client) -> list[Any]:
    """The pages of the first hour, in its order, of the example and then of an own, empty household."""
    pages = [soup(client.get(path)) for path in ("/today", "/size", "/week", "/files", "/cell-tests")]
    assert client.post("/cell-tests/example", {}).status_code == 303
    pages.append(soup(client.get("/cell-tests/1")))
    assert client.post("/cell-tests/1/read", form_of(pages[-1], "read-form") | {"act": "read"}).status_code == 303
    pages.append(soup(client.get("/cell-tests/1")))
    use = pages[-1].find("form", action="/cell-tests/1/use")
    sent = {field["name"]: field.get("value", "") for field in use.find_all("input")}
    sent["bank"] = use.find("option")["value"]
    used = client.post("/cell-tests/1/use", sent)
    assert used.status_code == 303
    pages.append(soup(client.get(used.headers["Location"])))
    assert client.post("/files/new", {}).headers["Location"] == "/banks"
    paths = ("/banks", "/inverter", "/loads", "/loads?add=house", "/sun", "/cell-tests", "/sheet")
    return pages + [soup(client.get(path)) for path in paths]


# Pictures


def pictures() -> list[tuple[str, str]]:
    """Alternative words and path of every picture of the README."""
    return re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", README)


def test_pictures_are_those_that_the_script_takes_small_and_said_in_words() -> None:
    script = text_of("data/build/readme_pictures.py")
    shown = [Path(path).stem for _, path in pictures()]
    assert sorted(shown) == sorted(re.findall(r'Picture\(name="(\w+)"', script))
    assert sorted(shown) == sorted(path.stem for path in (ROOT / "data/readme").iterdir())
    for words, path in pictures():
        content = (ROOT / path).read_bytes()
        assert content.startswith(b"\x89PNG"), path
        assert len(content) < MOST_PICTURE_BYTES, path
        assert len(words) > 40, path
