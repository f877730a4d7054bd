"""Several banks on one DC bus, hour by hour: each takes and gives what its volts and resistance make of the bus.

Powers are W at the bus, energies Wh, currents A with charging positive, volts of whole packs. Currents are found
implicitly at the middle of each step (at most half an hour, shorter where a bank is stiff), because between
unlike banks they change faster than the hour. One charger has one setting: the bus is charged to the lowest of the
banks' end volts, and held there only where every bank is held. While one bank is too cold to be charged, none is. A
bank at its reserve gives no more, as if its own disconnect had opened; the rest go on without it.
Not modelled: bars and cables between the banks, a generator on such a bus, heat made by the current.

References
----------
The network is Millman's (engine/house/bus.py); the implicit midpoint rule is a standard one-step method (E. Hairer,
C. Lubich, G. Wanner, Geometric Numerical Integration, 2006, section II.1), taken because it keeps energy to second
order.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import inf
from typing import NamedTuple

from engine.balance.bus_plant import AT_SOC, Amounts, BusPlant, BusState, cell, limits, network, pack_ohm
from engine.balance.step import (
    LEAST_H,
    MAX_SOC_STEP,
    MOST_STEPS_AN_HOUR,
    NEARLY_EMPTY_SOC,
    NEARLY_FULL_SOC,
    Flow,
    Plant,
    sun_carried,
)
from engine.cells.chemistry import at
from engine.house.bus import Shared, at_volts, shared_by_current, shared_by_power

MOST_H = 0.5
LEAST_STEP_H = 0.05
"""A step is not made shorter than this for a stiff bank; a limit may still end it sooner."""
_NO_SOC = 1e-12
"""Rounding, not charge that moves [-]."""
_LEAST_CUT = 0.99
"""A step that is too long is cut by a hundredth at least: a stiff bank moves as much in nearly as short a step."""
_PASSES = 2
_HALVINGS = 14
_LIMITED_V = 0.02
"""A bank whose own volts differ by more from those of the bus is held at a limit: what that takes is booked as lost."""
Share = Callable[[Amounts, Amounts, Amounts, Amounts, Amounts], Shared | None]
"""Of volts, resistances of banks that take and that give, least and most amperes: what each then takes or gives."""


class Split(NamedTuple):
    """How a step divided the bus: its volts, each bank's current [A] and its energy at the bus, charging positive."""

    volts: float
    amps: tuple[float, ...]
    into_wh: tuple[float, ...]


def has_ended(b: BusPlant, state: BusState) -> bool:
    """Whether the charger would call the bus charged."""
    return state.full or all(s >= p.top_soc - NEARLY_FULL_SOC for p, s in zip(b.plants, state.socs, strict=True))


def restarts(b: BusPlant, state: BusState, sun_w: float) -> bool:
    """Whether an inverter that has cut off would find its restart volts with the sun charging."""
    emf, ohm, giving_ohm = network(b, state.socs, state.socs, 0.0)
    most = limits(b, state.socs)
    charging_w = sun_w if any(most[1]) else 0.0
    found = shared_by_power(emf, ohm, *most, charging_w, giving_ohm)
    found = found or at_volts(emf, ohm, *most, b.end_v, giving_ohm)
    return found.volts >= b.restart_v


def bus_step(
    b: BusPlant, state: BusState, sun_w: float, ac_w: float, dc_w: float, hours: float
) -> tuple[BusState, Flow, Split]:
    """Advance by `hours` or to the first limit, whichever is sooner.

    Parameters
    ----------
    sun_w : float
        What the charger could give at the bus [W].
    ac_w, dc_w : float
        Loads measured at the sockets and at the battery side [W].
    """
    rest_v = sum(w * p.series * at(p.cells.ocv_v, s) for w, p, s in zip(b.weights, b.plants, state.socs, strict=True))
    sun_w = min(sun_w, b.sun_a_max * rest_v)
    if not state.on:
        after, flow, split = _charge(b, state, sun_w, 0.0, hours)
        return after, flow._replace(unserved_wh=(ac_w + dc_w) * flow.hours, limit="inverter"), split
    carried_w = min(ac_w, b.inverter.rated_w)
    wanted_w = b.inverter.dc_w(carried_w) + dc_w
    if sun_w >= wanted_w:
        after, flow, split = _charge(b, state, sun_w, wanted_w, hours)
        return after, _with_load(flow, carried_w, dc_w, wanted_w, ac_w), split
    return _discharge(b, state, sun_w, ac_w, dc_w, wanted_w, hours)


def _with_load(flow: Flow, carried_w: float, dc_w: float, wanted_w: float, ac_w: float) -> Flow:
    return flow._replace(
        served_wh=(carried_w + dc_w) * flow.hours,
        unserved_wh=(ac_w - carried_w) * flow.hours,
        inverter_loss_wh=(wanted_w - carried_w - dc_w) * flow.hours,
        limit="overload" if ac_w > carried_w else "",
    )


def _charge(b: BusPlant, state: BusState, sun_w: float, load_w: float, hours: float) -> tuple[BusState, Flow, Split]:
    """Charge with what the load leaves of the sun, up to the end volts of the bus."""
    over_w = 0.0 if state.full else sun_w - load_w

    def filled(emf: Amounts, ohm: Amounts, giving_ohm: Amounts, low: Amounts, high: Amounts) -> Shared | None:
        return _filled(b.end_v, emf, ohm, giving_ohm, low, high, over_w)

    dt, found = _advance(b, state.socs, hours, filled)
    full = state.full
    if not b.holds and over_w > 0.0 and not full and any(p.charge_c_max for p in b.plants):
        dt, found, full = _until(
            b, state.socs, dt, found, filled, lambda socs: _volts_v(b, socs, filled) < b.end_v - AT_SOC
        )
    socs, loss_wh, into_wh = _moved(b, state.socs, found, dt)
    taken_wh = sum(into_wh)
    flow = Flow(
        dt,
        sun_wh=load_w * dt + taken_wh,
        spare_wh=max((sun_w - load_w) * dt - taken_wh, 0.0),
        cell_loss_wh=loss_wh,
    )
    return BusState(socs, state.on, full), flow, Split(found.volts, found.amps, into_wh)


def _filled(
    end_v: float, emf: Amounts, ohm: Amounts, giving_ohm: Amounts, low: Amounts, high: Amounts, over_w: float
) -> Shared | None:
    """Currents of a charge: the charger gives no more than its volts, and no bank more than it may take, allow."""
    takes = [inf if most > 0.0 else 0.0 for most in high]
    limit_v = min([end_v, *(e + r * most for e, r, most in zip(emf, ohm, high, strict=True) if most > 0.0)])
    found = shared_by_power(emf, ohm, low, takes, over_w, giving_ohm) if any(takes) else None
    if found is None or found.volts > limit_v:
        found = at_volts(emf, ohm, low, takes, limit_v, giving_ohm)
    return found if sum(found.amps) >= 0.0 else shared_by_power(emf, ohm, low, high, 0.0, giving_ohm)


def _discharge(
    b: BusPlant, state: BusState, sun_w: float, ac_w: float, dc_w: float, wanted_w: float, hours: float
) -> tuple[BusState, Flow, Split]:
    """Discharge to cover what the sun leaves of the load, to the floors, the cut-off or the current limits."""

    def given(emf: Amounts, ohm: Amounts, giving_ohm: Amounts, low: Amounts, high: Amounts) -> Shared | None:
        return shared_by_power(emf, ohm, low, high, sun_w - wanted_w, giving_ohm)

    def short() -> tuple[BusState, Flow, Split]:
        return _sun_alone(b, state, sun_w, ac_w, dc_w, hours, _why_short(b, state.socs))

    low, high = limits(b, state.socs)
    if given(*network(b, state.socs, state.socs, 0.0), low, high) is None:
        return short()
    if _fast_v(b, state.socs, given) < b.cut_v:
        return state._replace(on=False), Flow(0.0, limit="inverter"), _nothing(b)
    dt, found = _advance(b, state.socs, hours, given)
    if dt <= LEAST_H:  # so near a limit that any step would pass it
        return short()
    dt, found, off = _until(b, state.socs, dt, found, given, lambda socs: _fast_v(b, socs, given) >= b.cut_v)
    socs, loss_wh, into_wh = _moved(b, state.socs, found, dt)
    carried_w = min(ac_w, b.inverter.rated_w)
    flow = _with_load(Flow(dt, sun_wh=sun_w * dt, cell_loss_wh=loss_wh), carried_w, dc_w, wanted_w, ac_w)
    return BusState(socs, not off), flow, Split(found.volts, found.amps, into_wh)


def _why_short(b: BusPlant, socs: Sequence[float]) -> str:
    """The limit that keeps the banks from giving what is asked."""
    left = [p for p, s in zip(b.plants, socs, strict=True) if s > p.floor_soc + AT_SOC]
    if not left:
        return b.plants[0].floor_name
    return "current" if any(p.discharge_c_max > 0.0 for p in left) else "cold"


def _sun_alone(
    b: BusPlant, state: BusState, sun_w: float, ac_w: float, dc_w: float, hours: float, limit: str
) -> tuple[BusState, Flow, Split]:
    """Serve what share of the load the sun can carry while the banks give nothing; the rest is unserved."""
    if sun_w <= b.inverter.idle_w:
        after, flow, split = _charge(b, state, sun_w, 0.0, hours)
        return after, flow._replace(unserved_wh=(ac_w + dc_w) * flow.hours, limit=limit), split
    flow = sun_carried(b.inverter, sun_w, ac_w, dc_w, hours, limit)
    return BusState(state.socs, True, state.full), flow, _nothing(b)


def _nothing(b: BusPlant) -> Split:
    return Split(0.0, (0.0,) * len(b.plants), (0.0,) * len(b.plants))


def _longest_h(b: BusPlant, socs: Sequence[float], hours: float) -> float:
    """Length of a step: not so long that the stiffest bank would swing about its volts."""
    cells = [cell(p.cells, s) for p, s in zip(b.plants, socs, strict=True)]
    stiff_h = min(2.0 * r_drawn / max(slope, 1e-9) for _, slope, _, r_drawn in cells)
    return min(hours, MOST_H, max(stiff_h, LEAST_STEP_H))


def _solve(b: BusPlant, socs: Sequence[float], dt: float, share: Share) -> Shared | None:
    """Currents over a step, found at its middle."""
    low, high = limits(b, socs)
    middles: Sequence[float] = socs
    found = None
    for _ in range(_PASSES if dt > 0.0 else 1):
        found = share(*network(b, socs, middles, dt), low, high)
        if found is None:
            return None
        middles = [s + 0.5 * d for s, d in zip(socs, _gains(b, socs, found, dt), strict=True)]
    return found


def _gains(b: BusPlant, socs: Sequence[float], found: Shared, dt: float) -> list[float]:
    """Charge each bank gains in a step [-]."""
    gains = []
    for p, soc, amps in zip(b.plants, socs, found.amps, strict=True):
        rate = amps * p.series / p.series_ah
        gains.append(rate * dt * (at(p.cells.coulombic, soc) if rate > 0.0 else 1.0))
    return gains


def _advance(b: BusPlant, socs: Sequence[float], hours: float, share: Share) -> tuple[float, Shared]:
    """A step in which no bank passes a limit: its length and its currents.

    A step that ends where the banks can no longer give what is asked is made shorter, as often as it takes.
    """
    too_long_h = dt = _longest_h(b, socs, hours)
    for _ in range(MOST_STEPS_AN_HOUR):
        found = _solve(b, socs, dt, share)
        part = 0.5 if found is None else _least_part(b, socs, found, dt)
        if found is not None and part >= 1.0:
            return _lengthened(b, socs, dt, found, too_long_h, share)
        too_long_h, dt = dt, dt * min(part, _LEAST_CUT)
    raise ArithmeticError("The limits of these banks contradict each other.")


def _lengthened(
    b: BusPlant, socs: Sequence[float], dt: float, found: Shared, too_long_h: float, share: Share
) -> tuple[float, Shared]:
    """Make up for a step that was cut too much.

    A bank that begins to give or take only late in a step gains less than in proportion to its length, perhaps nothing:
    cut in proportion again and again, steps would hardly move.
    """
    for _ in range(_HALVINGS):
        if dt >= 0.5 * too_long_h or _least_part(b, socs, found, 2.0 * dt) < 1.0:
            break
        middle = 0.5 * (dt + too_long_h)
        tried = _solve(b, socs, middle, share)
        if tried is None or _least_part(b, socs, tried, middle) < 1.0:
            too_long_h = middle
        else:
            dt, found = middle, tried
    return dt, found


def _least_part(b: BusPlant, socs: Sequence[float], found: Shared, dt: float) -> float:
    """Part of a step in which every bank stays inside its limits."""
    gains = _gains(b, socs, found, dt)
    return min(_part(p, soc, gain) for p, soc, gain in zip(b.plants, socs, gains, strict=True))


def _part(p: Plant, soc: float, gain: float) -> float:
    """Part of a step in which a bank stays inside its window and moves no more than a step may."""
    most = MAX_SOC_STEP if soc > NEARLY_EMPTY_SOC else MAX_SOC_STEP / 4.0
    room = p.top_soc - soc if gain > 0.0 else soc - p.floor_soc
    allowed = max(min(most, room + 0.5 * AT_SOC), 0.0)
    return 1.0 if abs(gain) <= max(allowed, _NO_SOC) else allowed / abs(gain)


def _until(
    b: BusPlant,
    socs: Sequence[float],
    dt: float,
    found: Shared,
    share: Share,
    holds: Callable[[Sequence[float]], bool],
) -> tuple[float, Shared, bool]:
    """Shorten a step to where `holds` of its end is last true; whether it had to be."""
    if holds(_moved(b, socs, found, dt)[0]):
        return dt, found, False
    good, bad = 0.0, dt
    for _ in range(_HALVINGS):
        middle = 0.5 * (good + bad)
        tried = _solve(b, socs, middle, share)
        if tried is not None and holds(_moved(b, socs, tried, middle)[0]):
            good, found = middle, tried
        else:
            bad = middle
    return good, found, True


def _volts_v(b: BusPlant, socs: Sequence[float], share: Share) -> float:
    """Bus volts at some charges [V]; infinite where the banks cannot."""
    found = _solve(b, socs, 0.0, share)
    return inf if found is None else found.volts


def _fast_v(b: BusPlant, socs: Sequence[float], share: Share) -> float:
    """Bus volts under the load within minutes [V]; infinite where the banks cannot carry it."""
    found = _solve(b, socs, 0.0, share)
    if found is None:
        return inf
    emf = [p.series * at(p.cells.ocv_v, s) for p, s in zip(b.plants, socs, strict=True)]
    ohm = [pack_ohm(p, at(p.cells.r_fast, s)) for p, s in zip(b.plants, socs, strict=True)]
    return shared_by_current(emf, ohm, *limits(b, socs), sum(found.amps)).volts


def _moved(
    b: BusPlant, socs: Sequence[float], found: Shared, dt: float
) -> tuple[tuple[float, ...], float, tuple[float, ...]]:
    """Charge of each bank after a step, loss in all of them and what went into each at the bus [Wh]."""
    after, loss_wh, into_wh = [], 0.0, []
    for p, soc, gain, amps in zip(b.plants, socs, _gains(b, socs, found, dt), found.amps, strict=True):
        middle = soc + 0.5 * gain
        ocv, _, r_slow, r_drawn = cell(p.cells, middle)
        rate = amps * p.series / p.series_ah
        r_v = r_slow if rate > 0.0 else r_drawn
        own_v = p.series * (ocv + rate * r_v)
        loss_wh += p.series_ah * dt * rate * rate * r_v + p.series * ocv * (amps * dt - gain * p.series_ah / p.series)
        if abs(found.volts - own_v) > _LIMITED_V:
            loss_wh += (found.volts - own_v) * amps * dt
        after.append(min(max(soc + gain, 0.0), 1.0))
        into_wh.append(found.volts * amps * dt)
    return tuple(after), loss_wh, tuple(into_wh)
