"""Moving charge keeps the energy, never costs hours, gains more from a fuller spare, and is nothing where forbidden."""

from __future__ import annotations

import dataclasses
from datetime import datetime

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.answers.coming import coming, soonest
from engine.answers.spares import Spares, spares
from engine.answers.spares_joining import EQUAL_V, Leads, joining
from engine.answers.spares_sources import Means
from engine.house.bank import Bank
from engine.house.household import Household
from engine.sky.days import parse_sky
from tests.engine.plants import bank, inverter
from tests.engine.test_spares import home

KINDS = ("lfp", "nmc", "sodium_layered", "lead_sealed")
SKIES = ("none", "dark", "dark,dull,bright", "bright,dark", "bright")
kinds, skies = st.sampled_from(KINDS), st.sampled_from(SKIES)
socs = st.floats(0.05, 1.0)
hours = st.integers(0, 23)
devices = st.builds(Means, power_w=st.floats(50.0, 3000.0), efficiency=st.floats(0.5, 1.0))
BALANCE = 1e-3
"""What may not add up, of what left the spare: as for every run of the balance, whose steps are finite."""
TINY_H = 1e-6
"""Hours that are rounding."""


def house_of(kind: str, spare: str, **changes: object) -> Household:
    loose = bank(spare, id="shed", name="Shed", inverter="")
    low = bank(kind, hold=True)
    return home(loose, chemistry=kind, series=low.series, board=low.board, **changes)


def answer(house: Household, soc: float, spare_soc: float, sky: str, hour: int, means: Means) -> Spares:
    at = datetime(2026, 11, 25, hour, 0)
    found = coming(house, {"bank": soc}, parse_sky(sky, house.site, house.sun, 11, 6), at)[1]
    return spares(found, soonest(found), {"shed": spare_soc}, means)


def past(hours_h: float | None) -> float:
    return float("inf") if hours_h is None else hours_h


@settings(max_examples=40, deadline=None)
@given(kinds, kinds, socs, socs, skies, hours, devices)
def test_what_leaves_the_spare_arrives_or_is_lost(
    kind: str, spare: str, soc: float, spare_soc: float, sky: str, hour: int, means: Means
) -> None:
    """Read off the spare's own curve on one side, summed over the steps on the other."""
    (one,) = answer(house_of(kind, spare), soc, spare_soc, sky, hour, means).spares
    for move in one.moves:
        assert abs(move.taken_kwh - move.into_kwh - move.lost_kwh) <= BALANCE * max(move.taken_kwh, 0.1)
        assert min(move.into_kwh, move.lost_kwh) >= 0.0
        assert move.into_kwh <= one.above_kwh
        assert move.into_kwh <= one.power_w * move.ran_h / 1000.0 + 1e-9


@settings(max_examples=40, deadline=None)
@given(kinds, kinds, socs, socs, skies, hours, devices)
def test_charge_from_a_spare_never_costs_hours(
    kind: str, spare: str, soc: float, spare_soc: float, sky: str, hour: int, means: Means
) -> None:
    """Of banks held at their end volts: without a hold a stronger charge ends sooner, with less in the bank."""
    found = answer(house_of(kind, spare), soc, spare_soc, sky, hour, means)
    for move in found.spares[0].moves:
        assert past(move.lasts_h) >= past(found.hours) - TINY_H
        assert past(found.best.gained_h) >= past(move.gained_h) - 0.25  # type: ignore[union-attr]


@settings(max_examples=40, deadline=None)
@given(kinds, kinds, socs, st.tuples(socs, socs), skies, hours, devices)
def test_a_fuller_spare_never_gives_fewer_hours(
    kind: str, spare: str, soc: float, two: tuple[float, float], sky: str, hour: int, means: Means
) -> None:
    """Begun now: the other starts depend on how much there is to move."""
    house = house_of(kind, spare)
    lasts = []
    for spare_soc in sorted(two):
        found = answer(house, soc, spare_soc, sky, hour, means)
        now = next((move for move in found.spares[0].moves if move.name == "now"), None)
        lasts.append(past(found.hours) if now is None else past(now.lasts_h))
    assert lasts[1] >= lasts[0] - TINY_H


@settings(max_examples=25, deadline=None)
@given(kinds, kinds, socs, socs, skies, st.floats(-20.0, -0.1))
def test_into_a_bank_too_cold_nothing_goes(
    kind: str, spare: str, soc: float, spare_soc: float, sky: str, cold_c: float
) -> None:
    house = house_of(kind, spare)
    frozen = dataclasses.replace(house, banks=(dataclasses.replace(house.banks[0], cell_c=cold_c), *house.banks[1:]))
    if cold_c >= frozen.banks[0].charge_min_c:
        return
    (one,) = answer(frozen, soc, spare_soc, sky, 18, Means()).spares
    assert one.moves == ()
    assert one.hindrance == "bank cold"


def pack(bank_id: str, kind: str, **changes: object) -> Bank:
    return bank(kind, id=bank_id, name=bank_id, **changes)


@settings(max_examples=100, deadline=None)
@given(kinds, socs, socs, st.floats(0.1, 200.0), st.floats(1.0, 5.0))
def test_the_first_current_obeys_ohm_and_falls_with_longer_leads(
    kind: str, soc: float, low_soc: float, leads_mohm: float, longer: float
) -> None:
    short, long = (
        joining(pack("a", kind), soc, pack("b", kind), low_soc, inverter(), Leads(leads_mohm=mohm, cell_mohm={}))
        for mohm in (leads_mohm, leads_mohm * longer)
    )
    assert abs(short.amps * short.ohm - abs(short.difference_v)) < 1e-9 * max(abs(short.difference_v), 1.0)
    assert long.amps <= short.amps
    assert short.amps < abs(short.difference_v) / (leads_mohm * 1e-3) or not short.amps
    assert short.at_least
    near = abs(short.difference_v) <= EQUAL_V
    assert (short.level == "stop") == (not near or any(limit.passed for limit in short.limits))
