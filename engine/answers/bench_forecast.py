"""What a bench test will probably show, how far off that may be, and why: made before the test, scored after it.

Two bars are kept apart: `bar` is how far the catalogue's curve may be from this very cell (scored afterwards), and
`after_bar` how far the answer will still be off once it was measured. Units are those of each row. The bars are
judgement from a few comparisons, not confidence limits: about two of three results should fall inside.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

from engine.answers.bench_steps import Bench
from engine.cells import curve
from engine.cells.chemistry import Chemistry, r_fast_at, r_slow_at
from engine.cells.sight import sight
from engine.sources import Source

SENSOR_SHARE = 0.04
SENSOR = "current sensors of benches, 2-4 % (the error stated for the open sodium-ion logs; here 4 %)"
METER = "volts at the clips, 10 mV (assumed)"
LABEL_SHARE = 0.10
LABEL = "label against cell, 10 % (assumed; whole cells from 60 to 110 % of the label are believable)"
AFTER_SHARE = 0.016
AFTER = Source(
    kind="simulated from published parameters",
    text="Curve rebuilt from few points with 1 % random error: 0.2 to 1.6 points off on simulated cells; on measured "
    "sodium-ion logs, read at twice the current, 1.1 points on average and 5.1 at worst.",
)
PRIORS = {
    "sodium": (
        0.05,
        "catalogue curve against another cell, 5 points (measured: worst translation error on open sodium-ion logs, "
        "5.1)",
    ),
    "lfp": (
        0.16,
        "catalogue curve against another cell, 16 points (simulated: two published parameter sets give 81 and 97 % at "
        "3.40 V without a hold)",
    ),
    "lead": (
        0.15,
        "catalogue curve against another cell, 15 points (simulated: a porous-electrode cell was 10-20 points from "
        "this kind of model)",
    ),
}
PRIOR_UNKNOWN = (0.10, "catalogue curve against another cell, 10 points (assumed; no second cell was compared)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """One expected result; `key` is what a result is given under.

    `value` is None where volts cannot tell the charge, and `reason` says why; such a row is not scored.
    `points_per_unit` turns a miss into points of capacity, None where that has no meaning.
    """

    key: str
    what: str
    unit: str
    value: float | None
    bar: float
    source: Source
    points_per_unit: float | None = None
    reason: str = ""
    after_bar: float | None = None
    after_source: Source | None = None


def prior(cell: Chemistry) -> tuple[float, str]:
    """How far this chemistry's catalogue curve may be from another cell of its kind [-], and the words."""
    return PRIORS.get(cell.id.split("_")[0], PRIOR_UNKNOWN)


def full_ah(bench: Bench) -> Forecast:
    """Ampere-hours of a full charge: the label's."""
    share = math.hypot(LABEL_SHARE, SENSOR_SHARE)
    return Forecast(
        key="full_ah",
        what=f"Ampere-hours drawn after a full charge to {bench.cell.v_full:g} V",
        unit="Ah",
        value=bench.full_ah,
        bar=share * bench.full_ah,
        source=Source(kind="assumed", text=f"The cell holds its label; bar: {LABEL}; {SENSOR}."),
        points_per_unit=100.0 / bench.full_ah,
        after_bar=SENSOR_SHARE * bench.full_ah,
        after_source=Source(kind="measured", text=f"What remains is {SENSOR}."),
    )


def share_at(bench: Bench, volts: float) -> Forecast:
    """Share reached at `volts` without a hold at the bench's charge current."""
    off, why = prior(bench.cell)
    low, high = (bench.no_hold(volts + sign * curve.METER_V) for sign in (-1, 1))
    return Forecast(
        key=f"share_no_hold_{volts:g}",
        what=f"Share reached at {volts:g} V without a hold at {bench.charge_a:g} A",
        unit="share",
        value=bench.no_hold(volts),
        bar=math.hypot(off, (high - low) / 2.0),
        source=_curve_source(bench.cell, f"{why}; {METER}"),
        points_per_unit=100.0,
        after_bar=AFTER_SHARE,
        after_source=AFTER,
    )


def volts_for(bench: Bench, share: float) -> Forecast:
    """Volts that stop a charge without a hold at `share`, or none where volts cannot tell it."""
    soc, off = bench.soc(share), prior(bench.cell)
    key, what = f"volts_for_{share:g}", f"Volts that stop at {_percent(share)} without a hold at {bench.charge_a:g} A"
    volts = curve.volts_for_soc(bench.cell, soc, bench.charge_c)
    if (reason := _untold(bench, volts, share)) is not None:
        source = _curve_source(bench.cell, "none, as volts do not decide")
        return Forecast(key=key, what=what, unit="V", value=None, bar=0.0, source=source, reason=reason)
    low, high = (curve.volts_for_soc(bench.cell, soc + sign * off[0], bench.charge_c) for sign in (-1, 1))
    bar = math.hypot(max(volts - low, high - volts), curve.METER_V)
    near = [bench.no_hold(volts + sign * bar) for sign in (-1, 1)]
    per_v = (near[1] - near[0]) / (2.0 * bar)
    return Forecast(
        key=key,
        what=what,
        unit="V",
        value=volts,
        bar=bar,
        source=_curve_source(bench.cell, f"{off[1]}, turned into volts by the curve; {METER}"),
        points_per_unit=100.0 * per_v,
        after_bar=math.hypot(AFTER_SHARE / per_v, curve.METER_V) if per_v > 0.0 else curve.METER_V,
        after_source=AFTER,
    )


def hold_worth(bench: Bench, volts: float) -> tuple[Forecast, Forecast]:
    """Share that a hold at `volts` adds, and its hours."""
    gain, quick = (each.held(volts) - each.no_hold(volts) for each in (bench, _quick(bench, volts)))
    kind = _curve_source(
        bench.cell,
        "difference between the resistance over hours, which holds hysteresis, and the one over minutes; "
        f"{SENSOR}; half a point for the moment the hold begins (assumed)",
    )
    bar = math.hypot(gain - quick, SENSOR_SHARE * gain, 0.005)
    worth = Forecast(
        key=f"hold_gain_{volts:g}",
        what=f"Share a hold at {volts:g} V down to {bench.tail_a:g} A adds",
        unit="share",
        value=gain,
        bar=bar,
        source=kind,
        points_per_unit=100.0,
        after_bar=math.hypot(SENSOR_SHARE * gain, 0.005),
        after_source=Source(kind="assumed", text=f"Ah of the hold alone: {SENSOR}; half a point for its start."),
    )
    return worth, share_at(bench, volts)


def seen(bench: Bench, share: float) -> Forecast:
    """Millivolts that a hundredth of charge shows as, at `share` of a charge at the bench's current."""
    off, why = prior(bench.cell)
    view = sight(bench.cell, bench.charge_c, bench.full_ah)
    last = len(view.soc) - 1
    low, here, high = (round(min(max(bench.soc(share + d), 0.0), 1.0) * last) for d in (-off, 0.0, off))
    value = float(view.mv_per_point[here])
    window = view.mv_per_point[low : high + 1]
    return Forecast(
        key=f"mv_per_point_{share:g}",
        what=f"What one hundredth of charge shows as at {_percent(share)}, charging at {bench.charge_a:g} A",
        unit="mV",
        value=value,
        bar=max(float(window.max()) - value, value - float(window.min()), SENSOR_SHARE * abs(value)),
        source=_curve_source(bench.cell, f"the curve's slopes within the bar of its place; {why}"),
        after_bar=SENSOR_SHARE * abs(value),
        after_source=Source(kind="measured", text=f"Slope of the logged charge: {SENSOR}."),
    )


def spread(bench: Bench) -> Forecast:
    """Highest less lowest of a batch of cells as a share of the middle one."""
    return Forecast(
        key="spread_share",
        what="Highest less lowest cell, as a share of the middle cell",
        unit="share",
        value=0.05,
        bar=0.05,
        source=Source(kind="typical, from memory", text="New cells of one batch 1-5 %, used ones 10 % and more."),
        points_per_unit=100.0,
        after_bar=0.01,
        after_source=Source(kind="assumed", text="One sensor for all cells: its error falls out of a comparison."),
    )


def _quick(bench: Bench, volts: float) -> Bench:
    """The same bench with a cell whose resistance at the end of this charge is the one minutes see."""
    soc = curve.soc_without_hold(bench.cell, volts, bench.charge_c)
    slow, fast = r_slow_at(bench.cell, soc), r_fast_at(bench.cell, soc)
    factor = fast / slow if slow > 0.0 else 1.0
    scaled = tuple(min(r * factor, 50.0) for r in bench.cell.r_slow_v_per_c)
    return dataclasses.replace(bench, cell=dataclasses.replace(bench.cell, r_slow_v_per_c=scaled))


def _untold(bench: Bench, volts: float, share: float) -> str | None:
    """Why volts cannot stop at `share`, or None if they can."""
    full_v = bench.cell.v_full
    if bench.no_hold(full_v) < share:
        return (
            f"{bench.charge_a:g} A reaches {full_v:g} V at {_percent(bench.no_hold(full_v))}, before "
            f"{_percent(share)}: charge more slowly, hold, or count ampere-hours."
        )
    near = curve.PLAIN_STEPS * curve.VOLT_STEP
    reached = [bench.no_hold(volts + part * near) for part in (-1.0, -0.5, 0.0, 0.5, 1.0)]
    risen = max(high - low for low, high in zip(reached, reached[2:], strict=False))
    metered = bench.no_hold(volts + curve.METER_V) - bench.no_hold(volts - curve.METER_V)
    if risen <= curve.PLAIN_RISE and metered <= curve.METER_RISE:
        return None
    return (
        f"Not controllable by voltage; count ampere-hours: from {volts - near:.2f} to {volts + near:.2f} V the charge "
        f"goes from {_percent(reached[0])} to {_percent(reached[-1])}."
    )


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %"


def _curve_source(cell: Chemistry, bar: str) -> Source:
    """The kind and words of a forecast read from the catalogue's curve."""
    known = cell.source_of("ocv_v")
    return Source(
        kind=known.kind if known else "assumed",
        text=f"Catalogue curve of {cell.name}; bar: {bar}.",
    )
