"""The recipes of DEVELOPERS, followed by the lines that stand there: a chemistry, a kind of load, up to the sheet."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

from engine.answers.heating import usual_mass_kg
from engine.cells import catalogue
from engine.house import load_kinds, load_shapes
from engine.house.bank import Bank
from engine.house.load_notes import running_w
from engine.house.loads import Load, hourly_w
from engine.paths import data_dir
from tests.conftest import Client, form_of, soup
from webapp.pages import loads as loads_page

ROOT = Path(__file__).parents[1]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
NAMED = sorted(
    {
        (name, path)
        for name, path in re.findall(r"`(\w+)` (?:in|of)\s+`([\w/]+\.py)`", DEVELOPERS)
        if "standby" not in path
    }
)
"""Names that DEVELOPERS says are in a file."""


def recipe(title: str) -> str:
    """The text of one recipe."""
    return DEVELOPERS.split(f"\n### {title}\n")[1].split("\n### ")[0]


@pytest.mark.parametrize(("name", "path"), NAMED, ids=[name for name, _ in NAMED])
def test_what_a_recipe_says_stands_in_a_file_stands_there(name: str, path: str) -> None:
    assert re.search(rf"^(?:\s*(?:def|class) )?{name}\b", (ROOT / path).read_text(encoding="utf-8"), re.MULTILINE)


def test_what_the_recipe_of_a_page_calls_is_there() -> None:
    named = set(re.findall(r"`(editing|forms|inputs|problems|questions|render)\.(\w+)", recipe("Add a page")))
    assert len(named) >= 6
    assert all(hasattr(import_module(f"webapp.{module}"), name) for module, name in named)


@pytest.fixture
def lto(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """A data folder after the `cp` lines of the recipe, with the name and the source changed; its catalogue is read."""
    for folder in ("chemistries", "curves"):
        shutil.copytree(data_dir() / folder, tmp_path / "data" / folder)
    copies = re.findall(r"^    cp (\S+) (\S+)$", recipe("Add a chemistry"), re.MULTILINE)
    assert len(copies) == 2
    for source, target in copies:
        shutil.copy(tmp_path / source, tmp_path / target)
    written = tmp_path / copies[0][1]
    text = re.sub(r'(?m)^name = ".*"$', 'name = "LTO (lithium titanate)"', written.read_text(encoding="utf-8"))
    text = text.replace("What makers print, 3.6 to 3.7 V", "A number of the recipe’s test")
    written.write_text(text.replace("charge_min_c = 0\n", "charge_min_c = -20\n"), encoding="utf-8")
    monkeypatch.setattr(catalogue, "data_dir", lambda: tmp_path / "data")
    _forget()
    yield written.stem
    monkeypatch.undo()
    _forget()


def _forget() -> None:
    catalogue.names.cache_clear()
    catalogue.load.cache_clear()


def test_a_chemistry_of_two_files_reaches_form_answer_and_sheet(client: Client, lto: str) -> None:
    page = soup(client.get("/banks"))
    assert "LTO (lithium titanate)" in {option.text.strip() for option in page.select("option")}
    form = form_of(page, "bank-store-form") | {"chemistry": lto}
    assert client.post("/banks", form).status_code == 303
    answer = client.get("/today.json?charge=80&sky=none").json()
    assert answer["hours_to_reserve"] > 1.0
    taken = {one["source"] for one in answer["assumptions"]}
    assert any(source.startswith("A number of the recipe’s test") for source in taken)
    assert "A number of the recipe’s test" in client.get("/sheet").text


def test_a_new_chemistry_has_the_stand_ins_that_the_recipe_names(lto: str) -> None:
    # 16 x 280 Ah x 3.65 V = 16,352 Wh over 120 Wh/kg.
    bank = Bank(id="b", name="B", chemistry=lto, series=16, label_ah=280.0)
    assert "else 120 Wh with a board" in " ".join(recipe("Add a chemistry").split())
    assert usual_mass_kg(bank) == pytest.approx(16 * 280.0 * 3.65 / 120.0)


@pytest.fixture
def hob(monkeypatch: pytest.MonkeyPatch) -> str:
    """The two code blocks of the recipe, put where it says."""
    shape, entry = re.findall(r"```python\n(.*?)```", recipe("Add a kind of load"), re.DOTALL)
    space = {**vars(load_shapes), **vars(load_kinds)}
    exec(compile(shape, "shape", "exec"), space)
    added = eval(compile("{" + entry + "}", "entry", "eval"), space)
    for kind, meaning in added.items():
        monkeypatch.setitem(load_kinds.KINDS, kind, meaning)
        monkeypatch.setitem(loads_page.OFFERED, kind, meaning)
    return str(*added)


def test_a_kind_of_load_of_two_places_reaches_form_answer_and_sheet(client: Client, hob: str) -> None:
    assert client.get("/loads").text.count(f"/loads?add={hob}#form") == 1
    before_h = client.get("/today.json?charge=80&sky=none").json()["hours_to_reserve"]
    form = form_of(soup(client.get(f"/loads?add={hob}")), "add-load-form") | {"name": "Hob of the croft"}
    assert client.post("/loads", form).status_code == 303
    answer = client.get("/today.json?charge=80&sky=none").json()
    assert answer["hours_to_reserve"] < before_h
    assert {"two meals for three people", "when most people cook"} <= {one["source"] for one in answer["assumptions"]}
    assert "Hob of the croft" in client.get("/sheet").text
    again = form_of(soup(client.get(f"/loads?add={hob}")), "add-load-form")
    refused = client.post("/loads", again | {"values.hob_kw": "0.1"})
    assert "Power of the hob must be a number from 0.5 to 20 kW; got 0.1." in refused.text


def test_its_hours_are_those_of_a_pocket_calculator(hob: str) -> None:
    # 1 kWh a meal at 2 kW is half an hour: 1,000 W in the mean of the hours from 12 and from 18; it runs with 2,000.
    load = Load(id="h", name="Hob", kind=hob)
    assert [hour for hour, watts in enumerate(hourly_w(load, 1)) if watts] == [12, 18]
    assert hourly_w(load, 1).max() == pytest.approx(1000.0)
    assert running_w(load) == pytest.approx(2000.0)


def test_every_power_that_a_kind_runs_with_is_one_of_its_fields() -> None:
    for kind in load_kinds.KINDS.values():
        assert not kind.running or kind.fields[kind.running].quantity.unit in ("W", "kW")
