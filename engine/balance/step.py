"""One step of one bank on its inverter, at cell-voltage level: the scalar reference.

Powers are W at the DC bus, energies Wh, currents C-rates of tested Ah, volts per cell. Within a step
the powers are constant; a step ends early where a limit is reached, so an answer in hours does not
depend on the step's length. The bank's own reserve is soft (the sun still serves what it can);
an inverter or board that has cut off stays off until the restart volts are reached.
Not modelled: anything faster than minutes, the spread between cells, heat made by the current.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, sqrt
from typing import NamedTuple

from engine.cells.chemistry import CellTable, at, volts_at
from engine.house.bank import Bank, cutoff_cell_v, floor
from engine.house.cold import allowed_charge_c
from engine.house.inverter import Inverter
from engine.quantities import HOURS_PER_MONTH

MAX_SOC_STEP = 0.02
NEARLY_EMPTY_SOC = 0.05
"""Below this the open-circuit volts fall so steeply that a step may be only a quarter as long."""
MAX_TAPER_H = 0.25
NEARLY_FULL_SOC = 0.005
LEAST_H = 1e-9
MOST_STEPS_AN_HOUR = 2000
_TINY = 1e-9


class State(NamedTuple):
    """What a step starts from: state of charge, inverter on, charge ended by volts without a hold."""

    soc: float
    on: bool = True
    full: bool = False


class Flow(NamedTuple):
    """What one step moved [Wh], how long it took [h], and the limit that kept load unserved."""

    hours: float
    sun_wh: float = 0.0
    spare_wh: float = 0.0
    served_wh: float = 0.0
    unserved_wh: float = 0.0
    cell_loss_wh: float = 0.0
    inverter_loss_wh: float = 0.0
    limit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """A bank and its inverter with every limit worked out once: what a step needs."""

    series_ah: float
    cells: CellTable
    end_v: float
    holds: bool
    top_soc: float
    floor_soc: float
    floor_name: str
    cut_v: float
    cut_name: str
    restart_v: float
    charge_c_max: float
    discharge_c_max: float
    acceptance_tau_h: float | None
    self_discharge_per_h: float
    sun_a_max: float
    series: int
    inverter: Inverter


def plant(bank: Bank, inverter: Inverter, mean_dc_w: float) -> Plant:
    """Work out a bank's limits once.

    Parameters
    ----------
    mean_dc_w : float
        Mean power drawn from the bank [W], at which a reserve in volts and the reach at this
        temperature and current are read.
    """
    end = floor(bank, inverter, mean_dc_w)
    cell, board = bank.cell, bank.board
    board_c = inf if board is None else board.current_limit_a / bank.ah
    return Plant(
        series_ah=bank.series * bank.ah,
        cells=bank.table,
        end_v=bank.charge_end_cell_v,
        holds=bank.hold,
        top_soc=bank.top_reached_soc if bank.hold else (1.0 if bank.top_v is not None else bank.top_soc),
        floor_soc=max(end.reserve_soc, end.reach_soc),
        floor_name="reserve" if end.reserve_soc >= end.reach_soc else "cold or rate",
        cut_v=cutoff_cell_v(bank, inverter),
        cut_name="board" if board is not None and board.cell_low_v * bank.series > inverter.dc_min_v else "inverter",
        restart_v=inverter.restart_v / bank.series,
        charge_c_max=allowed_charge_c(bank, bank.cell_c),
        discharge_c_max=0.0 if bank.cell_c < cell.discharge_min_c else min(cell.discharge_c_max, board_c),
        acceptance_tau_h=cell.acceptance_tau_h,
        self_discharge_per_h=cell.self_discharge_per_month / HOURS_PER_MONTH,
        sun_a_max=inf if inverter.charge_limit_a is None else inverter.charge_limit_a,
        series=bank.series,
        inverter=inverter,
    )


def step(p: Plant, state: State, sun_w: float, ac_w: float, dc_w: float, hours: float) -> tuple[State, Flow]:
    """Advance by `hours` or to the first limit, whichever is sooner.

    Parameters
    ----------
    sun_w : float
        What the charger could give at the bus [W].
    ac_w, dc_w : float
        Loads measured at the sockets and at the battery side [W].

    Returns
    -------
    (State, Flow)
        The state after `Flow.hours` and what was moved in them.
    """
    if sun_w > 0.0:
        sun_w = min(sun_w, p.sun_a_max * p.series * at(p.cells.ocv_v, state.soc))
    if not state.on:
        after, flow = _charge(p, state, sun_w, 0.0, hours)
        return after, flow._replace(unserved_wh=(ac_w + dc_w) * flow.hours, limit=p.cut_name)
    carried_w = min(ac_w, p.inverter.rated_w)
    wanted_w = p.inverter.dc_w(carried_w) + dc_w
    if sun_w >= wanted_w:
        after, flow = _charge(p, state, sun_w, wanted_w, hours)
        return after, _with_load(flow, carried_w, dc_w, wanted_w, ac_w)
    return _discharge(p, state, sun_w, ac_w, dc_w, wanted_w, hours)


def is_short(flow: Flow) -> bool:
    """Whether a step left load unserved for want of charge, not for want of inverter."""
    return flow.unserved_wh > 0.0 and flow.limit not in {"", "overload"}


def first_short(flows: Sequence[Flow]) -> int | None:
    """Which of the steps of an hour is the first that `is_short`; None where none is."""
    for index, flow in enumerate(flows):
        if flow.unserved_wh > 0.0 and is_short(flow):
            return index
    return None


def has_ended(p: Plant, state: State) -> bool:
    """Whether the charger would call the bank charged."""
    return state.full or state.soc >= p.top_soc - NEARLY_FULL_SOC


def restarts(p: Plant, state: State, sun_w: float) -> bool:
    """Whether an inverter that has cut off would find its restart volts with the sun charging."""
    volts = at(p.cells.ocv_v, state.soc)
    if sun_w > 0.0 and p.charge_c_max > 0.0:
        volts += _charge_c(p, state.soc, sun_w / p.series_ah) * at(p.cells.r_slow, state.soc)
    return volts >= p.restart_v


def _with_load(flow: Flow, carried_w: float, dc_w: float, wanted_w: float, ac_w: float) -> Flow:
    """Add to what a step moved the load it carried; built anew, since `_replace` takes ten times as long."""
    hours, limit = flow.hours, "overload" if ac_w > carried_w else ""
    served_wh, unserved_wh = (carried_w + dc_w) * hours, (ac_w - carried_w) * hours
    inverter_loss_wh = (wanted_w - carried_w - dc_w) * hours
    return Flow(hours, flow.sun_wh, flow.spare_wh, served_wh, unserved_wh, flow.cell_loss_wh, inverter_loss_wh, limit)


def _charge_c(p: Plant, soc: float, power_v: float) -> float:
    """C-rate that a power per series-Ah [V] drives into the cells, within the current limits."""
    ocv, r_slow, _ = volts_at(p.cells, soc)
    return _driven_c(p, soc, ocv, r_slow, power_v)


def _driven_c(p: Plant, soc: float, ocv: float, r_slow: float, power_v: float) -> float:
    """As `_charge_c`, where the cells' volts and resistance at this charge are known."""
    rate = 2.0 * power_v / (ocv + sqrt(ocv * ocv + 4.0 * r_slow * power_v))
    rate = min(rate, p.charge_c_max)
    return rate if p.acceptance_tau_h is None else min(rate, (1.0 - soc) / p.acceptance_tau_h)


def _most_soc(soc: float) -> float:
    """Charge that one step may move [-]."""
    return MAX_SOC_STEP if soc > NEARLY_EMPTY_SOC else MAX_SOC_STEP / 4.0


def _over_end(p: Plant, soc: float, rate: float) -> bool:
    return at(p.cells.ocv_v, soc) + rate * at(p.cells.r_slow, soc) > p.end_v + _TINY


def _charge(p: Plant, state: State, sun_w: float, load_w: float, hours: float) -> tuple[State, Flow]:
    """Charge with what the load leaves of the sun, by power, current, acceptance and end volts."""
    soc, rate = state.soc, 0.0
    power_v = (sun_w - load_w) / p.series_ah
    if power_v > 0.0 and soc < p.top_soc - _TINY and not state.full:
        ocv, r_slow, _ = volts_at(p.cells, soc)
        rate = _driven_c(p, soc, ocv, r_slow, power_v)
    if rate <= 0.0:
        return state, Flow(hours, load_w * hours, (sun_w - load_w) * hours)
    # A step that ended where its volts met the end ends up to _TINY above it: there a hold goes on, at falling current.
    if ocv + rate * r_slow > p.end_v + (0.0 if p.holds else _TINY):
        if not p.holds:
            return State(soc, state.on, True), Flow(0.0)
        dt = min(hours, MAX_TAPER_H)
        end = _taper_end(p, soc, dt)
    else:
        dt = min(hours, _most_soc(soc) / rate)
        middle = min(1.0, soc + 0.5 * rate * dt * at(p.cells.coulombic, soc))
        rate = _charge_c(p, middle, power_v)
        end = min(p.top_soc, soc + rate * dt * at(p.cells.coulombic, middle))
        if _over_end(p, end, rate):
            end = _bisect(lambda s: not _over_end(p, s, rate), soc, end)
    return _charged(p, state, end, dt, sun_w, load_w, power_v)


def _taper_end(p: Plant, soc: float, dt: float) -> float:
    """State of charge after `dt` at constant end volts, implicit in time."""

    def reachable(s: float) -> bool:
        ocv, r_slow, _ = volts_at(p.cells, s)
        rate = (p.end_v - ocv) / r_slow
        if p.acceptance_tau_h is not None:
            rate = min(rate, (1.0 - s) / p.acceptance_tau_h)
        return s - soc <= dt * rate * at(p.cells.coulombic, s)

    return p.top_soc if reachable(p.top_soc) else _bisect(reachable, soc, p.top_soc)


def _charged(
    p: Plant, state: State, end: float, dt: float, sun_w: float, load_w: float, power_v: float
) -> tuple[State, Flow]:
    """Book a charge from the state's charge to `end`, in `dt` or the shorter time its power allows."""
    gained = end - state.soc
    middle = state.soc + 0.5 * gained
    coulombic = at(p.cells.coulombic, middle)
    ocv, r_slow, _ = volts_at(p.cells, middle)
    fastest = _driven_c(p, middle, ocv, r_slow, power_v)
    used_h = dt if gained >= fastest * coulombic * dt - _TINY else max(gained / (fastest * coulombic), 0.0)
    if p.holds and ocv + fastest * r_slow > p.end_v + _TINY:
        used_h = dt
    if used_h <= _TINY:
        return State(state.soc, state.on, True), Flow(0.0)
    rate = gained / coulombic / used_h
    into_w = p.series_ah * rate * (ocv + rate * r_slow)
    loss_wh = p.series_ah * used_h * rate * (rate * r_slow + ocv * (1.0 - coulombic))
    full = not p.holds and _over_end(p, end, fastest * (1.0 + 1e-6))
    spare_wh = max(sun_w - load_w - into_w, 0.0) * used_h
    return State(end, state.on, full), Flow(used_h, (load_w + into_w) * used_h, spare_wh, 0.0, 0.0, loss_wh)


def _discharge(
    p: Plant, state: State, sun_w: float, ac_w: float, dc_w: float, wanted_w: float, hours: float
) -> tuple[State, Flow]:
    """Discharge to cover what the sun leaves of the load, to the floor, the cut-off or the current limit."""
    soc = state.soc
    power_v = (wanted_w - sun_w) / p.series_ah
    if soc <= p.floor_soc + _TINY or p.discharge_c_max <= 0.0:
        return _sun_alone(p, state, sun_w, ac_w, dc_w, hours, p.floor_name if p.discharge_c_max else "cold")
    ocv, r_drawn, r_fast = volts_at(p.cells, soc, drawn=True)
    rate = _drawn_c(ocv, r_drawn, power_v)
    if rate is None or ocv - rate * r_fast < p.cut_v:
        return State(soc, False), Flow(0.0, limit=p.cut_name)
    if rate >= p.discharge_c_max * (1.0 - _TINY):
        return _sun_alone(p, state, sun_w, ac_w, dc_w, hours, "current")
    dt = min(hours, _most_soc(soc) / rate)
    end = max(p.floor_soc, soc - rate * dt)
    rate = _discharge_c(p, 0.5 * (soc + end), power_v) or rate
    unclipped = soc - rate * dt
    end = max(p.floor_soc, unclipped)
    ocv, r_drawn, r_fast = volts_at(p.cells, end, drawn=True)
    drawn = _drawn_c(ocv, r_drawn, power_v)
    if drawn is None or drawn > p.discharge_c_max:
        end = _bisect(lambda s: not _over_current(p, s, power_v), soc, end)
        ocv, _, r_fast = volts_at(p.cells, end)
    on = ocv - rate * r_fast >= p.cut_v
    if not on:
        end = _bisect(lambda s: at(p.cells.ocv_v, s) - rate * at(p.cells.r_fast, s) >= p.cut_v, soc, end)
    ran = rate
    if end != unclipped:
        ran = _discharge_c(p, 0.5 * (soc + end), power_v) or rate
        dt = min(dt, (soc - end) / ran)
    carried_w = min(ac_w, p.inverter.rated_w)
    flow = Flow(dt, sun_w * dt, 0.0, 0.0, 0.0, _discharge_loss_wh(p, 0.5 * (soc + end), ran, dt))
    return State(end, on), _with_load(flow, carried_w, dc_w, wanted_w, ac_w)


def _over_current(p: Plant, soc: float, power_v: float) -> bool:
    """Whether the power asks for more than the current limit at this charge."""
    rate = _discharge_c(p, soc, power_v)
    return rate is None or rate > p.discharge_c_max


def _discharge_c(p: Plant, soc: float, power_v: float) -> float | None:
    """C-rate that delivers a power per series-Ah [V] at the terminals; None where no current can."""
    ocv, r_drawn, _ = volts_at(p.cells, soc, drawn=True)
    return _drawn_c(ocv, r_drawn, power_v)


def _drawn_c(ocv: float, r_drawn: float, power_v: float) -> float | None:
    """As `_discharge_c`, where the cells' volts and resistance are known."""
    under_root = ocv * ocv - 4.0 * r_drawn * power_v
    return None if under_root < 0.0 else 2.0 * power_v / (ocv + sqrt(under_root))


def _discharge_loss_wh(p: Plant, soc: float, rate: float, dt: float) -> float:
    return p.series_ah * dt * rate * rate * at(p.cells.r_drawn, soc)


def _sun_alone(
    p: Plant, state: State, sun_w: float, ac_w: float, dc_w: float, hours: float, limit: str
) -> tuple[State, Flow]:
    """Serve what share of the load the sun can carry while the bank gives nothing; the rest is unserved.

    So at the floor, and where a load asks for more than the current limit: a board then opens.
    """
    if sun_w <= p.inverter.idle_w:
        after, flow = _charge(p, state, sun_w, 0.0, hours)
        return after, flow._replace(unserved_wh=(ac_w + dc_w) * flow.hours, limit=limit)
    return State(state.soc, True, state.full), sun_carried(p.inverter, sun_w, ac_w, dc_w, hours, limit)


def sun_carried(inverter: Inverter, sun_w: float, ac_w: float, dc_w: float, hours: float, limit: str) -> Flow:
    """What the sun alone serves of the load, above the inverter's idle draw, while no bank gives anything."""
    carried_w = min(ac_w, inverter.rated_w)
    served_wh = carried_share(inverter, carried_w, dc_w, sun_w) * (carried_w + dc_w) * hours
    return Flow(
        hours,
        sun_wh=sun_w * hours,
        served_wh=served_wh,
        unserved_wh=(ac_w + dc_w) * hours - served_wh,
        inverter_loss_wh=sun_w * hours - served_wh,
        limit=limit,
    )


def carried_share(inverter: Inverter, ac_w: float, dc_w: float, available_w: float) -> float:
    """Share x of both loads with idle + (1 + k1) x ac + k2 (x ac)^2 / rated + x dc = available."""
    linear = (1.0 + inverter.k1) * ac_w + dc_w
    square = inverter.k2 * ac_w * ac_w / inverter.rated_w
    spare_w = available_w - inverter.idle_w
    return min(1.0, 2.0 * spare_w / (linear + sqrt(linear * linear + 4.0 * square * spare_w)))


def _bisect(holds: Callable[[float], bool], good: float, bad: float) -> float:
    """Last state of charge between `good` and `bad` at which `holds` is still true."""
    for _ in range(40):
        middle = 0.5 * (good + bad)
        good, bad = (middle, bad) if holds(middle) else (good, middle)
    return good
