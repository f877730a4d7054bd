"""The documents tell the truth: the README's numbers are recomputed, its commands and links exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from engine.answers.sizing import sizing
from engine.sky.days import owner_dull_day
from engine.sky.world import ROUGH
from tests.engine.test_answers import house, lasts
from webapp import __version__

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


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
        assert ROUGH in " ".join((ROOT / name).read_text(encoding="utf-8").split()), name


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


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "CHANGELOG.md", "data/SOURCES.md"])
def test_links_and_named_files_exist(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    for target in re.findall(r"\]\((?!http)([^)#]+)\)", text):
        assert (ROOT / name).parent.joinpath(target).exists(), target
    for path in re.findall(r"`((?:engine|webapp|data|static|tests|benchmarks|examples)/[\w./-]+\.\w+)`", text):
        assert (ROOT / path).exists(), path


def test_no_document_names_a_place_on_a_machine() -> None:
    for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "data/SOURCES.md"):
        assert not re.search(r"(?:/home/|/root/|/tmp/|C:\\)", (ROOT / name).read_text(encoding="utf-8"))
