"""Whatever is chosen for the columns of a brought file: it is read, or the choice is refused, in its place."""

from __future__ import annotations

import random

import pytest

from tests.conftest import Client, form_of, soup
from tests.web.bringing import CELL_TESTS, LOG, RECORDS, Pages
from tests.web.fuzzing import CELLS
from tests.web.meter_files import meter_csv
from tests.web.sun_files import kc_of_years, roof_log

CHOICES = 60
CHARGE = "Time;U;I;T\n" + "".join(f"0:{n // 60:02d}:{n % 60:02d};{3 + n / 400:.3f};10;21\n" for n in range(240))
ENDS = "U [V];no hold [Ah];hold [Ah]\n" + "".join(
    f"{3.3 + n / 50:.2f};{200 + 5 * n};{215 + 4 * n}\n" for n in range(14)
)
FILES = {
    "cells": (CELL_TESTS, CELLS),
    "charge": (CELL_TESTS, CHARGE),
    "ends of charge": (CELL_TESTS, ENDS),
    "sun": (RECORDS, roof_log(kc_of_years(1))),
    "log": (LOG, meter_csv(2)),
}
NUMBERS = ("", "0", "1", "16", "280", "-5", "1e9", "0,5", "9" * 400, "many")


@pytest.mark.parametrize(("pages", "content"), FILES.values(), ids=FILES)
def test_no_choice_is_answered_by_a_fault(example: Client, pages: Pages, content: str) -> None:
    chance = random.Random(pages.path)
    address = pages.draft_at(example, content)
    form = soup(example.get(address)).find("form", id="read-form")
    assert form is not None
    lists = {str(one["name"]): [str(option["value"]) for option in one("option")] for one in form("select")}
    fields = [str(one["name"]) for one in form.select("input:not([type])[name], input[type=text][name]")]
    assert fields
    usual = form_of(soup(example.get(address)), "read-form")
    answers = set()
    for _ in range(CHOICES):
        picked = {name: chance.choice(values) for name, values in lists.items() if chance.random() < 0.4}
        picked |= {name: chance.choice(NUMBERS) for name in fields if chance.random() < 0.3}
        answer = example.post(f"{address}/read", usual | picked | {"act": chance.choice(["look", "read"])})
        assert answer.status_code in (200, 303, 422), picked
        answers.add(answer.status_code)
    assert {200, 422} <= answers


@pytest.mark.parametrize("day", ["day:of the year", "day:of the month"])
@pytest.mark.parametrize(("pages", "other"), [(LOG, "cell:°C"), (RECORDS, "value:kWh")], ids=["log", "sun"])
def test_a_day_of_no_year_is_no_date(example: Client, pages: Pages, other: str, day: str) -> None:
    address = pages.draft_at(example, FILES["log"][1])
    sent = form_of(soup(example.get(address)), "read-form")
    date = next(name for name, what in sent.items() if what.startswith("date:"))
    new = next(name for name in sent if name.startswith("column_") and name != date)
    answer = example.post(f"{address}/read", sent | {date: day, new: other, "act": "read"})
    assert answer.status_code == 422
    assert "Date has no column yet: choose it, or year, month and day apart." in soup(answer).get_text()
