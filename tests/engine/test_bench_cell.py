"""Which runs of a log are read together: two charges, a charge and its discharge, a charge alone, or none."""

from __future__ import annotations

import pytest

from engine.bench.analysis import analyse
from engine.bench.cell_of_log import cell_of
from engine.bench.measured import share_at
from engine.cells import catalogue
from engine.cells.curve import soc_without_hold
from engine.errors import InputError, Unreachable
from tests.engine.bench_logs import Leg, full_test, rest, run

BASE = catalogue.load("sodium_layered")
CHARGE = full_test()[:4]
FAST = full_test(amps=1.3)[1:]


def test_a_charge_and_its_discharge_give_back_the_curve_they_were_made_from() -> None:
    log, truth = run(full_test())
    cell, cycle = cell_of(analyse(log), BASE)
    assert cell.resistance.kind == "half gap"
    assert cycle.number == 1
    assert cell.full_ah == pytest.approx(-truth.ah[4], rel=0.01)
    for volts in (2.9, 3.2, 3.5, 3.8):
        made_from = soc_without_hold(BASE, volts, cell.charge_c)
        assert share_at(cell, volts, cell.charge_c) == pytest.approx(made_from, abs=0.02)


def test_two_charges_from_empty_at_two_currents_go_before_the_half_gap() -> None:
    log, _ = run((*full_test(), *FAST))
    cell, cycle = cell_of(analyse(log), BASE)
    assert cell.resistance.kind == "two rates"
    assert cycle.number == 1
    assert cell.charge_c == pytest.approx(0.65 / cell.full_ah, rel=0.01)


def test_two_charges_at_one_current_are_no_two_rates() -> None:
    log, _ = run((*full_test(), *full_test()[1:]))
    cell, _ = cell_of(analyse(log), BASE)
    assert cell.resistance.kind == "half gap"


def test_a_charge_alone_borrows_its_resistance() -> None:
    log, _ = run(CHARGE)
    cell, _ = cell_of(analyse(log), BASE)
    assert cell.resistance.kind == "borrowed"
    assert cell.coulombic_efficiency is None


def test_a_short_charge_from_empty_is_passed_over_for_a_long_one_that_began_part_full() -> None:
    little = (Leg("charge", 0.65, 2.6), rest(900), Leg("discharge", 0.65, 2.3), rest(900))
    emptied = (rest(600), Leg("discharge", 0.65, 1.5), rest(900))
    log, _ = run((*emptied, *little, *full_test()[1:]), start_soc=0.5)
    result = analyse(log)
    assert [one.starts_empty for one in result.cycles] == [False, True, False]
    _, cycle = cell_of(result, BASE)
    assert cycle.number == 3


def test_a_charge_from_empty_goes_before_one_that_began_part_full() -> None:
    log, _ = run((*full_test(), *full_test()[1:]), start_soc=0.3)
    result = analyse(log)
    assert [one.starts_empty for one in result.cycles] == [False, True]
    _, cycle = cell_of(result, BASE)
    assert cycle.number == 2


def test_a_discharge_alone_is_no_curve_and_says_what_to_log() -> None:
    log, _ = run((rest(600), Leg("discharge", 0.65, 1.5), rest(600)), start_soc=1.0)
    with pytest.raises(Unreachable, match="Log one charge from empty"):
        cell_of(analyse(log), BASE)


def test_a_log_of_another_chemistry_is_refused() -> None:
    log, _ = run(full_test())
    with pytest.raises(InputError):
        cell_of(analyse(log), catalogue.load("lfp"))
