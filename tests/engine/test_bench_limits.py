"""Whose volts a log can be: each made-up log is of the chemistry that made it, and of no other's limits."""

from __future__ import annotations

import dataclasses

import pytest

from engine.bench.analysis import analyse
from engine.bench.limits import Span, fitting, outside
from engine.cells import catalogue
from tests.engine.bench_logs import every, full_test, run


@pytest.mark.parametrize("id", list(catalogue.names()))
def test_a_cell_used_up_to_its_limits_is_of_its_own_kind(id: str) -> None:
    cell = catalogue.load(id)
    found = fitting(Span(cell.v_low, cell.v_max))
    assert id in found
    assert catalogue.load(found[0]).v_max == cell.v_max


def test_volts_between_the_limits_of_all_are_no_kinds() -> None:
    assert fitting(Span(1.5, 4.3)) == ()
    assert fitting(Span(2.0, 3.95)) == ("sodium_layered",)


def test_a_log_within_its_limits_is_let_be_and_one_beyond_is_a_stop() -> None:
    result = analyse(every(run(full_test())[0], 10))
    assert outside(result, catalogue.load("sodium_layered")) is None
    for id in ("lead_sealed", "lead_flooded", "lfp"):
        found = outside(result, catalogue.load(id))
        assert found is not None
        assert found.level == "stop"
        assert "3.95 V is beyond" in found.text


def test_a_log_below_its_empty_volts_is_a_stop_and_a_deep_end_alone_is_not() -> None:
    result = analyse(every(run(full_test())[0], 10))
    low = dataclasses.replace(result, voltage_v=result.voltage_v * 2.4 / 3.95)
    found = outside(low, catalogue.load("lfp"))
    assert found is not None
    assert "LFP (lithium iron phosphate) is empty at 2.50 V" in found.text
    assert outside(low, catalogue.load("lead_sealed")) is None


def test_a_lead_cell_charged_in_the_cold_is_believed() -> None:
    result = analyse(every(run(full_test())[0], 10))
    cold = dataclasses.replace(result, voltage_v=result.voltage_v * 2.55 / 3.95)
    assert outside(cold, catalogue.load("lead_sealed")) is None
