"""Which charge volts to set for a bank: what they reach at its own current, what a hold is worth, and the inverter.

Shares are of tested Ah, currents are of the whole bank, kWh are stored at open-circuit volts unless said otherwise.
Every figure is at the bank's cell temperature. Not modelled: hysteresis, loads during the charge, overshoot of a
charger, differences between the cells (but for the entered spread). A check is never an approval.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from engine.answers.answer import Assumption, Lever, Notice, Worked, assumptions_of
from engine.answers.charging_current import ChargeCurrent, charge_current
from engine.answers.charging_notices import Facts, charging_notices
from engine.answers.charging_parts import Balancing, HoldWorth, Reached, balancing, hold_worth, reached
from engine.answers.charging_settings import STEP_SOC, Asked, Setting, settings
from engine.answers.charging_targets import Charger, Narrow, Target, charger, narrow, target
from engine.answers.charging_worked import levers, worked
from engine.answers.notices_charge import spread_v
from engine.balance.forcing import mean_dc_w
from engine.cells import curve
from engine.errors import InputError
from engine.fields import Quantity
from engine.house.bank import Bank
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter
from engine.house.span import BOARD_MARGIN_V, SeriesChoice, Span, Way, best, other_counts, span

TARGETS = (0.8, 0.9, 1.0)
ASSUMED_LOAD_C = 0.1
"""Load assumed where the bank carries none that is known [1/h] (assumed: ten hours from full to empty)."""
ASKED = {
    "cell_v": Quantity(label="Charge ends at", unit="V per cell", low=1.0, high=4.5),
    "tail_c": Quantity(label="Hold until the current falls to", unit="C", low=0.001, high=1.0, optional=True),
    "hold_h": Quantity(label="Or hold for", unit="h", low=0.0, high=48.0, optional=True, hint="Goes before the tail"),
    "bench_c": Quantity(label="Bench current", unit="C", low=0.01, high=5.0),
    "power_w": Quantity(label="Load", unit="W", low=1.0, high=1_000_000.0, optional=True, hint="Empty: your mean load"),
}
"""What may be asked besides the charge current and the window (`charging_current`, `charging_targets`)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRow:
    """One end voltage and the share it reaches; `controllable` is false where a held voltage does not decide it."""

    cell_v: float
    pack_v: float
    no_hold_soc: float
    bench_no_hold_soc: float
    hold_soc: float
    controllable: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Charging:
    """The answer: what the asked charge reaches, what to set, and how the pack stands against its inverter."""

    bank_id: str
    bank_name: str
    chemistry: str
    inverter_id: str
    inverter_name: str
    series: int
    ah: float
    cell_c: float
    month: int
    cell_v: float
    pack_v: float
    hold: bool
    tail_c: float
    hold_h: float | None
    charge_a: float
    charge_c: float
    charge_limit: str
    charge_from: str
    bench_c: float
    power_w: float
    power_from: str
    reached: Reached
    counted: Reached
    """What Banks and Today count this charge to: read at a day's mean current, `Bank.charge_c`."""
    no_hold: Reached
    held: Reached
    bench_no_hold: Reached
    bench_held: Reached
    hold_worth: HoldWorth
    controllable: bool
    targets: tuple[Target, ...]
    settings: tuple[Setting, ...]
    highest_cell_v: float | None
    balancing: Balancing | None
    narrow: Narrow | None
    rows: tuple[CurveRow, ...]
    span: Span | None
    series_spans: tuple[Span, ...]
    best_series: SeriesChoice | None
    levers: tuple[Lever, ...]
    worked: tuple[Worked, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]


def charging(
    household: Household,
    bank: Bank,
    inverter: Inverter | None,
    *,
    cell_v: float,
    hold: bool,
    tail_c: float | None = None,
    hold_h: float | None = None,
    charge_a: float | None = None,
    bench_c: float = 0.5,
    power_w: float | None = None,
    low_soc: float | None = None,
    high_soc: float | None = None,
    month: int,
) -> Charging:
    """Work out a charge setting of one bank.

    Parameters
    ----------
    bank : Bank
        It need not be joined to an inverter.
    inverter : Inverter or None
        The one to judge the pack against and to take panels and charger from; None for cells and board alone.
    cell_v : float
        End of charge [V per cell]; above the cell's highest volts it is a stop and its highest volts are worked out.
    hold : bool
        Whether the volts are held.
    tail_c, hold_h : float or None
        Current that ends the hold [1/h], the chemistry's where None; or hours of it [h], which go before.
    charge_a : float or None
        Charge current of the whole bank [A]; None takes it from panels and charger.
    bench_c : float
        Current of the bench test to compare with [1/h].
    power_w : float or None
        Load on the bank for volts under load [W]; None takes the mean load of the month.
    low_soc, high_soc : float or None
        A narrower window to weigh [-].
    month : int
        Month of the sun and the loads, 1..12.

    Raises
    ------
    InputError
        If a number is outside its limits.
    """
    typed = {"cell_v": cell_v, "tail_c": tail_c, "hold_h": hold_h, "bench_c": bench_c, "power_w": power_w}
    _check(bank, typed)
    end_v = min(cell_v, bank.cell.v_max)
    asked = dataclasses.replace(bank, charge_v=end_v, hold=hold, top_v=None, top_soc=1.0)
    load_w, load_from = _load(household, bank, inverter, power_w, month)
    current = charge_current(household, bank, inverter, end_v * bank.series, month, charge_a)
    to = charger(bank, inverter, current.charge_c, bank.cell.tail_c if tail_c is None else tail_c)
    got = _got(asked, to, bench_c, hold_h)
    window = narrow(bank, inverter, to, load_w, low_soc, high_soc)
    worth = hold_worth(asked, end_v, to.charge_c, to.tail_c, hold_h)
    evened = balancing(asked, end_v, to.charge_c, worth)
    way = Way(cell_v=end_v, hold=hold, charge_c=to.charge_c, tail_c=worth.tail_c)
    fit = _fit(asked, inverter, load_w, way)
    facts = Facts(
        asked=asked,
        inverter=inverter,
        cell_v=cell_v,
        load_w=load_w,
        current=current,
        worth=worth,
        reached_soc=got["reached"].soc,
        hold_hours=worth.minutes / 60.0 if hold else 0.0,
        balancing=evened,
        narrow=window,
    )
    return Charging(
        bank_id=bank.id,
        bank_name=bank.name,
        chemistry=bank.cell.name,
        inverter_id="" if inverter is None else inverter.id,
        inverter_name="" if inverter is None else inverter.name,
        series=bank.series,
        ah=bank.ah,
        cell_c=bank.cell_c,
        month=month,
        cell_v=end_v,
        pack_v=end_v * bank.series,
        hold=hold,
        tail_c=to.tail_c,
        hold_h=hold_h,
        charge_a=current.charge_a,
        charge_c=current.charge_c,
        charge_limit=current.limit,
        charge_from=current.words,
        bench_c=bench_c,
        power_w=load_w,
        power_from=load_from,
        **got,
        counted=_counted(asked),
        hold_worth=worth,
        controllable=_decides(bank, end_v, hold, to.charge_c),
        targets=tuple(target(bank, to, soc) for soc in TARGETS),
        settings=settings(bank, inverter, Asked(cell_v=end_v, hold=hold, reached_soc=got["reached"].soc), load_w),
        highest_cell_v=None if bank.cell_spread_mv is None else end_v + spread_v(bank),
        balancing=evened,
        narrow=window,
        rows=curve_rows(bank, to, bench_c),
        span=fit.own,
        series_spans=fit.counts,
        best_series=fit.best,
        levers=levers(asked, inverter, to, got["reached"].soc, load_w, fit.own),
        worked=worked(asked, inverter, current, worth, got["reached"], load_w, fit.own),
        notices=charging_notices(facts),
        assumptions=_assumptions(household, asked, current, load_from),
    )


def curve_rows(bank: Bank, to: Charger, bench_c: float) -> tuple[CurveRow, ...]:
    """Charge reached at every end voltage of the cell, 0.01 V apart: the table and the chart."""
    cell, cell_c = bank.cell, bank.cell_c
    at_bank = curve.usable_curve(cell, to.charge_c, cell_c)
    at_bench = curve.usable_curve(cell, bench_c, cell_c)
    held_to = [curve.soc_with_hold(cell, volts, to.tail_c, cell_c) for volts in at_bank.volts.tolist()]
    columns = (at_bank.soc_no_hold, at_bench.soc_no_hold, np.array(held_to))
    plain = np.all([curve.told_apart(cell, column) for column in columns], axis=0)
    rows = []
    for k, volts in enumerate(at_bank.volts.tolist()):
        bare = float(at_bank.soc_no_hold[k])
        rows.append(
            CurveRow(
                cell_v=volts,
                pack_v=volts * bank.series,
                no_hold_soc=bare,
                bench_no_hold_soc=float(at_bench.soc_no_hold[k]),
                hold_soc=max(bare, held_to[k]),
                controllable=bool(plain[k]) and not bool(at_bank.uncontrollable[k]),
            )
        )
    return tuple(rows)


def _counted(asked: Bank) -> Reached:
    soc = asked.top_reached_soc
    return Reached(charge_c=asked.charge_c, hold=asked.hold, soc=soc, kwh=asked.stored_kwh(0.0, soc))


class _Fit(NamedTuple):
    """How a pack stands on its inverter, as it is and in every other count of cells in series; nothing without one."""

    own: Span | None = None
    counts: tuple[Span, ...] = ()
    best: SeriesChoice | None = None


def _fit(asked: Bank, inverter: Inverter | None, load_w: float, way: Way) -> _Fit:
    if inverter is None:
        return _Fit()
    own, others = span(asked, inverter, load_w, way), other_counts(asked, inverter, load_w, way)
    counts = tuple(own if one.series == asked.series else one for one in others)
    return _Fit(own, counts, best(others, asked.series) if others else None)


def _decides(bank: Bank, end_v: float, hold: bool, charge_c: float) -> bool:
    """Whether the volts at which the charge ends decide the charge."""
    if hold:
        return curve.controllable(bank.cell, end_v, bank.cell_c)
    return curve.told(bank.cell, end_v, charge_c, bank.cell_c)


def _check(bank: Bank, typed: dict[str, float | None]) -> None:
    """Refuse what is outside its limits, and an end of charge at or below the cell's empty volts."""
    for name, value in typed.items():
        if (text := ASKED[name].refuse(value)) is not None:
            raise InputError(name, text)
    volts = typed["cell_v"]
    if volts is not None and not volts > bank.cell.v_low:
        raise InputError(
            "cell_v",
            f"Charge ends at must be above the empty volts of {bank.cell.name}, {bank.cell.v_low:g} V per cell; "
            f"got {volts:g} V per cell. Pack volts are divided by {bank.series} cells.",
        )


def _got(bank: Bank, to: Charger, bench_c: float, hold_h: float | None) -> dict[str, Reached]:
    """The charge reached the asked way, and without and with a hold at the bank's current and at the bench's."""
    end_v = bank.charge_end_cell_v
    found = {
        "no_hold": reached(bank, end_v, to.charge_c, False, to.tail_c),
        "held": reached(bank, end_v, to.charge_c, True, to.tail_c, hold_h),
        "bench_no_hold": reached(bank, end_v, bench_c, False, to.tail_c),
        "bench_held": reached(bank, end_v, bench_c, True, to.tail_c, hold_h),
    }
    return found | {"reached": found["held" if bank.hold else "no_hold"]}


def _load(
    household: Household, bank: Bank, inverter: Inverter | None, power_w: float | None, month: int
) -> tuple[float, str]:
    """Load for volts under load [W], and where it is from."""
    if power_w is not None:
        return power_w, "as you typed it"
    assumed_w = ASSUMED_LOAD_C * bank.ah * bank.series * bank.cell.v_nominal
    if inverter is None:
        return assumed_w, f"assumed {ASSUMED_LOAD_C:g}C: it is joined to no inverter"
    first = household.first_inverter or inverter.id
    loads = tuple(one for one in household.loads if (one.inverter or first) == inverter.id)
    if not loads:
        return assumed_w, f"assumed {ASSUMED_LOAD_C:g}C: {inverter.name} carries no loads"
    mean_w = mean_dc_w(household, Supply(bank=bank, inverter=inverter, arrays=(), loads=loads), month)
    return max(mean_w, 1.0), "your mean load, the inverter’s losses and idle draw included"


def _assumptions(household: Household, bank: Bank, current: ChargeCurrent, load_from: str) -> tuple[Assumption, ...]:
    """Cell data and the margins of this answer; loads and panels only where they stand in it."""
    house = dataclasses.replace(
        household,
        loads=household.loads if load_from.startswith("your mean load") else (),
        sun=household.sun if current.limit == "panels" else dataclasses.replace(household.sun, arrays=()),
    )
    own = [
        ("Cut-off above the board’s lowest cell", f"{BOARD_MARGIN_V:g} V per cell", "so that the board need not open"),
        ("Charge between full and charging again", f"{STEP_SOC * 100:g} points", "also between cut-off and restart"),
    ]
    if current.limit == "assumed":
        own.append(("Charge current", f"{current.charge_c:g}C", current.words))
    if load_from.startswith("assumed"):
        own.append(("Load", f"{ASSUMED_LOAD_C:g}C", load_from))
    return (
        *assumptions_of(house, (bank.cell,)),
        *(Assumption(name=name, value=value, kind="assumed", source=source) for name, value, source in own),
    )
