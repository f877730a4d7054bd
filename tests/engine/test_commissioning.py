"""Settings for the day a bank is commissioned: complete, the same volts as Charge volts, conflicts are stops."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest

from engine.answers.charging import charging
from engine.answers.commissioning import BankSettings, ToSet, commissioning
from engine.cells import catalogue
from engine.cells.cold_limits import FULL_C
from engine.house import household
from engine.house.bank import Board
from engine.house.cold import cold_limit_stated
from engine.house.household import Household

FOLDER = Path(__file__).resolve().parent.parent / "households"
THREE = household.read((FOLDER / "three_banks.json").read_text(encoding="utf-8"))
H = household.read((FOLDER / "h.json").read_text(encoding="utf-8"))
BOARD = Board(cell_low_v=2.6, cell_high_v=3.6, current_limit_a=150.0, balance_v=3.4)


def settings_of(house: Household, place: int = 0, month: int = 12) -> BankSettings:
    return commissioning(house, house.supplies(), month).banks[place]


def rows_of(house: Household, place: int = 0) -> dict[str, ToSet]:
    return {row.key: row for row in settings_of(house, place).rows}


def changed(house: Household, place: int = 0, inverter: dict[str, Any] | None = None, **values: Any) -> Household:
    banks = tuple(dataclasses.replace(bank, **values) if n == place else bank for n, bank in enumerate(house.banks))
    inverters = tuple(
        dataclasses.replace(one, **(inverter or {})) if n == place else one for n, one in enumerate(house.inverters)
    )
    return dataclasses.replace(house, banks=banks, inverters=inverters)


def codes(house: Household, place: int = 0) -> dict[str, str]:
    return {notice.code: notice.level for notice in settings_of(house, place).notices}


def test_everything_to_set_is_listed() -> None:
    rows = rows_of(changed(THREE, board=BOARD))
    assert list(rows) == [
        "end", "hold", "tail", "float", "again", "reserve", "cutoff", "restart", "charge-current", "discharge-current",
        "charge-cold", "charge-warm", "discharge-cold", "discharge-warm", "board-high", "board-low", "balancer",
    ]  # fmt: skip
    assert all(row.why for row in rows.values())


@pytest.mark.parametrize("place", range(3))
def test_volts_are_those_of_charge_volts_and_packs_are_cells_times_series(place: int) -> None:
    supply = THREE.supplies()[place]
    bank = supply.bank
    own = charging(THREE, bank, supply.inverter, cell_v=bank.charge_end_cell_v, hold=bank.hold, month=12)
    rows = rows_of(THREE, place)
    for one in own.settings:
        assert rows[one.key].cell_v == one.cell_v
        assert rows[one.key].now == one.now_pack_v
    for row in rows.values():
        if row.cell_v is not None:
            assert row.pack_v == pytest.approx(row.cell_v * bank.series)
    if bank.hold:
        assert rows["tail"].value == pytest.approx(own.tail_c * bank.ah)
    else:
        assert "tail" not in rows
        assert rows["hold"].value == 0.0


def test_the_lowest_current_that_is_known_counts() -> None:
    """LFP of 840 Ah: 0.5C is 420 A to charge and 1C 840 A to draw; a board of 150 A is lower than both."""
    bare = rows_of(THREE)
    assert (bare["charge-current"].value, bare["discharge-current"].value) == (420.0, 840.0)
    guarded = rows_of(changed(THREE, board=BOARD))
    assert (guarded["charge-current"].value, guarded["discharge-current"].value) == (150.0, 150.0)
    set_lower = rows_of(changed(THREE, board=BOARD, charge_limit_a=90.0))
    assert set_lower["charge-current"].value == 90.0


def test_a_charger_that_gives_more_than_the_bank_takes_is_a_stop() -> None:
    assert codes(changed(THREE, board=BOARD, inverter={"charge_limit_a": 160.0}))["charger-over-bank"] == "stop"
    assert "charger-over-bank" not in codes(changed(THREE, board=BOARD, inverter={"charge_limit_a": 150.0}))


def test_a_restart_above_the_end_of_the_charge_is_a_stop() -> None:
    """16 × 3.45 V = 55.2 V."""
    assert codes(changed(THREE, board=BOARD, inverter={"restart_v": 55.3}))["restart-above-charge"] == "stop"
    assert "restart-above-charge" not in codes(changed(THREE, board=BOARD, inverter={"restart_v": 55.2}))


def test_a_charge_above_the_boards_cells_is_a_stop() -> None:
    low = dataclasses.replace(BOARD, cell_high_v=3.44)
    assert codes(changed(THREE, board=low))["board-below-charge"] == "stop"


def test_a_charge_above_the_inverter_is_a_stop() -> None:
    assert "stop" in codes(changed(THREE, board=BOARD, inverter={"dc_max_v": 54.0})).values()
    assert "stop" not in codes(changed(THREE, board=BOARD)).values()


def test_a_sodium_limit_that_nobody_stated_is_a_stop_and_never_another_chemistrys() -> None:
    sodium = THREE.banks[1]
    assert not cold_limit_stated(sodium)
    row = rows_of(THREE, 1)["charge-cold"]
    assert (row.value, row.why[:10]) == (FULL_C, "not stated")
    assert codes(THREE, 1)["cold-limit-not-stated"] == "stop"
    stated = changed(THREE, 1, cold_charge_a=20.0)
    assert rows_of(stated, 1)["charge-cold"].value == stated.banks[1].charge_min_c
    assert "cold-limit-not-stated" not in codes(stated, 1)
    assert cold_limit_stated(THREE.banks[0])
    assert "cold-limit-not-stated" not in codes(THREE, 0)


def test_no_bank_no_settings() -> None:
    assert commissioning(H, (), 12).banks == ()


def test_the_limit_of_the_discharge_says_whose_it_is() -> None:
    assert rows_of(THREE)["discharge-current"].why.startswith("1C, the limit of LFP")
    assert rows_of(changed(THREE, board=BOARD))["discharge-current"].why == "the board’s limit"


@pytest.mark.parametrize(
    ("chemistry", "dc_max_v", "pack_v", "why"),
    [
        ("lead_flooded", 70.0, 24 * 2.58, "every 30 to 90 days"),
        ("lead_flooded", 60.0, None, "it ends at 60 V"),
        ("lead_sealed", 70.0, None, "never: "),
        ("lead_gel", 70.0, None, "never: "),
    ],
)
def test_equalising_is_for_flooded_cells_on_an_inverter_that_bears_it(
    chemistry: str, dc_max_v: float, pack_v: float | None, why: str
) -> None:
    house = changed(
        THREE, inverter={"dc_max_v": dc_max_v}, chemistry=chemistry, series=24, board=None, cell_c=25.0, charge_v=2.4
    )
    row = rows_of(house)["equalise"]
    assert row.pack_v == (None if pack_v is None else pytest.approx(24 * catalogue.load(chemistry).equalise_v))
    assert why in row.why
    assert "equalise" not in rows_of(THREE)


def test_a_board_that_lets_a_charge_into_frozen_cells_is_a_stop_while_they_are_warm() -> None:
    late = changed(THREE, board=dataclasses.replace(BOARD, charge_min_c=-20.0), cell_c=15.0)
    assert codes(late)["board-charges-below-cells"] == "stop"
    row = rows_of(late)["charge-cold"]
    assert (row.value, row.now) == (0.0, -20.0)
    right = changed(THREE, board=dataclasses.replace(BOARD, charge_min_c=0.0), cell_c=15.0)
    assert "board-charges-below-cells" not in codes(right)
    assert rows_of(right)["charge-cold"].now == 0.0


def test_a_cold_cut_off_that_nobody_entered_is_to_be_looked_for() -> None:
    row = rows_of(changed(THREE, board=BOARD))["charge-cold"]
    assert row.now is None
    assert "no cold cut-off of a board is entered" in row.why


@pytest.mark.parametrize(("dc_max_v", "now"), [(66.0, "now 60.0 V"), (58.0, "now no more than 58 V")])
def test_cold_lead_acid_is_never_sent_above_the_inverter(dc_max_v: float, now: str) -> None:
    """(2.4 V + 25 × 4 mV) × 24 = 60.0 V at 0 °C."""
    lead = changed(
        THREE, inverter={"dc_max_v": dc_max_v}, chemistry="lead_flooded", series=24, hold=True, charge_v=2.4, cell_c=0.0
    )
    assert now in rows_of(lead)["end"].label
