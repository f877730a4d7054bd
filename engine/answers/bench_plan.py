"""The fewest charges and discharges that answer one question about a cell, and afterwards how good the forecast was.

One logged charge from empty passes every lower charge end on its way, so it gives the whole column without a hold;
a hold inside that same charge gives its worth there; a charge at the tail current gives the held column. What a plan
takes is compared with the full sweep, one charge and discharge for every 0.1 V and both methods. Hours, Ah, volts per
cell, shares as fractions, 25 degC. The plan is arithmetic, not permission: the cell maker's sheet rules.
Not modelled: more than one place on the tester (divide the hours), pauses for the night.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from engine.answers import bench_forecast as expect
from engine.answers import bench_steps as do
from engine.answers.bench_cautions import cautions
from engine.answers.bench_forecast import Forecast
from engine.answers.bench_score import Score, scored
from engine.answers.bench_steps import Bench, Step, Sweep
from engine.cells import curve
from engine.cells.chemistry import Chemistry
from engine.errors import InputError
from engine.fields import Quantity
from engine.text.finding import Finding

QUESTIONS = {
    "volts_for_share": "Which volts for which charge?",
    "hold_worth": "Is a hold worth it?",
    "balancer": "Which balancer, and where?",
    "capacity": "What do my cells hold?",
    "whole_curve": "The whole curve, at any current?",
}
LABEL_AH = Quantity(label="Capacity on the label", unit="Ah", low=0.05, high=5000.0)
CHARGE_A = Quantity(label="Charge current", unit="A", low=0.005, high=5000.0)
DISCHARGE_A = Quantity(label="Discharge current", unit="A", low=0.005, high=5000.0)
TAIL_A = Quantity(label="Current that ends a hold", unit="A", low=0.001, high=5000.0)
CELLS = Quantity(label="Cells", unit="", low=1, high=5000, whole=True)
WANTED = Quantity(label="Wanted share", unit="%", low=0.05, high=0.99, percent=True)
LEAST_C, MOST_C, LEAST_TAIL_C = 0.01, 3.0, 0.002
"""A current outside these multiples of the label is a slip of the decimal point."""
HOLD_SHARE = 0.88
"""The extra hold stands at the first 0.05 V step at which a charge without one has passed this share: off the steep
foot and the flat parts, below the top (3.80 V for sodium-ion; engineering choice)."""
SLOWEST = 8.0
"""The slow charge of the whole curve is at the tail current, but not below this part of the charge current."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPlan:
    """A plan and its forecast: plain numbers and text, so that it can be kept and scored later."""

    question: str
    title: str
    how: str
    chemistry_id: str
    chemistry_name: str
    label_ah: float
    charge_a: float
    discharge_a: float
    tail_a: float
    cells_tested: int
    hold_v: float | None
    steps: tuple[Step, ...]
    """Of one cell; the totals are of all `cells_tested`, one after the other."""
    hours: float
    charged_ah: float
    discharged_ah: float
    charges: int
    discharges: int
    sweep: Sweep
    forecasts: tuple[Forecast, ...]
    cautions: tuple[Finding, ...]


def bench_plan(
    question: str,
    cell: Chemistry,
    *,
    label_ah: float,
    charge_a: float,
    discharge_a: float,
    tail_a: float,
    wanted: tuple[float, ...] = (0.8,),
    cells: int = 1,
) -> BenchPlan:
    """Plan the shortest test that answers a question.

    Parameters
    ----------
    question : str
        One of `QUESTIONS`.
    cell : Chemistry
        What is expected of the cell.
    label_ah : float
        Capacity on the label [Ah].
    charge_a, discharge_a, tail_a : float
        Currents of the bench [A]; a tail at or above the charge current is no hold.
    wanted : tuple of float
        Shares whose volts are asked for [-].
    cells : int
        Cells there are. All are tested for `capacity`, one of them for the other questions.

    Returns
    -------
    BenchPlan

    Raises
    ------
    InputError
        If a number is outside its limits, a hold is asked about with none set, or a charge curve of lead-acid.
    """
    if question not in QUESTIONS:
        raise InputError("question", f"The question is one of {', '.join(QUESTIONS)}; got “{question}”.")
    if question != "capacity" and cell.acceptance_tau_h is not None:
        raise InputError(
            "question",
            f"{cell.name} does not keep to rested volts plus resistance, so no charge curve can be read from its test; "
            f"ask “{QUESTIONS['capacity']}” instead.",
        )
    _check(label_ah, charge_a, discharge_a, tail_a, wanted, cells)
    bench = do.bench_of(cell, label_ah, charge_a, discharge_a, tail_a)
    if question == "hold_worth" and not bench.holds:
        raise InputError(
            "tail_a", f"Current that ends a hold must be below the charge current, {charge_a:g} A; got {tail_a:g} A."
        )
    hold_v = _hold_v(bench) if question == "hold_worth" else None
    steps = _summed(_steps(question, bench, hold_v))
    tested = cells if question == "capacity" else 1
    return BenchPlan(
        question=question,
        title=QUESTIONS[question],
        how=HOW[question],
        chemistry_id=cell.id,
        chemistry_name=cell.name,
        label_ah=label_ah,
        charge_a=charge_a,
        discharge_a=discharge_a,
        tail_a=tail_a,
        cells_tested=tested,
        hold_v=hold_v,
        steps=steps,
        hours=tested * math.fsum(step.hours for step in steps),
        charged_ah=tested * math.fsum(step.ah for step in steps if step.kind in ("charge", "hold")),
        discharged_ah=tested * math.fsum(step.ah for step in steps if step.kind == "discharge"),
        charges=tested * _charges(steps),
        discharges=tested * sum(step.kind == "discharge" for step in steps),
        sweep=do.sweep(bench, tested),
        forecasts=_forecasts(question, bench, wanted, hold_v, cells),
        cautions=cautions(bench, tested * math.fsum(step.hours for step in steps)),
    )


HOW = {
    "volts_for_share": "One logged charge from empty passes every share on its way to full; the ampere-hours at which "
    "each voltage is met, over those of the full charge, are its share. The discharge says what came back.",
    "hold_worth": "The charge stops on its way for one hold; the ampere-hours of that hold are what it is worth there, "
    "and the gap in volts gives the resistance from which all other holds follow. The column without a hold is read "
    "below those volts: just above them the pause still shows (simulated NMC: 3 points 0.1 V above, 0.1 at full).",
    "balancer": "How steeply the volts rise along one logged charge is what an imbalance shows as; where they hardly "
    "rise, no balancer sees anything, whatever it costs.",
    "capacity": "One full charge and one full discharge of each cell. From whatever a cell holds now; the charge is "
    "counted as from empty, the longest it can take.",
    "whole_curve": "A charge at the bench's current gives the column without a hold; a second at the tail current "
    "meets each voltage where a hold would have ended, so it gives the held column and, from the gap between "
    "the two, the resistance for every other current.",
}


def _check(
    label_ah: float, charge_a: float, discharge_a: float, tail_a: float, wanted: tuple[float, ...], cells: int
) -> None:
    """Refuse what is outside its limits, the currents against the label too."""
    rows = [
        ("label_ah", LABEL_AH, label_ah),
        ("charge_a", CHARGE_A, charge_a),
        ("discharge_a", DISCHARGE_A, discharge_a),
    ]
    rows += [("tail_a", TAIL_A, tail_a), ("cells", CELLS, cells), *(("wanted", WANTED, share) for share in wanted)]
    for name, meaning, value in rows:
        if (text := meaning.refuse(value)) is not None:
            raise InputError(name, text)
    limits = (
        ("charge_a", CHARGE_A, charge_a, LEAST_C),
        ("discharge_a", DISCHARGE_A, discharge_a, LEAST_C),
        ("tail_a", TAIL_A, tail_a, LEAST_TAIL_C),
    )
    for name, meaning, amps, least in limits:
        low, high = least * label_ah, MOST_C * label_ah
        if not low * (1 - 1e-9) <= amps <= high * (1 + 1e-9):
            raise InputError(
                name,
                f"{meaning.label} must be from {low:g} to {high:g} A for a cell of {label_ah:g} Ah; got {amps:g} A.",
            )


def _hold_v(bench: Bench) -> float:
    """Where the extra hold stands: see `HOLD_SHARE`; below the full volts."""
    full = bench.cell.v_full
    grid = [round(0.05 * k, 2) for k in range(math.ceil(bench.cell.v_low / 0.05), math.ceil(full / 0.05 - 1e-9))]
    passed = (volts for volts in grid if bench.no_hold(volts) >= HOLD_SHARE)
    return next(passed, grid[-1])


def _to_full(bench: Bench, low: float = 0.0) -> list[Step]:
    """Charge from share `low` to full, with its hold if there is one, and rest."""
    held = [do.hold(bench, bench.cell.v_full, low)] if bench.holds else []
    return [do.charge(bench, bench.cell.v_full, low), *held, do.rest()]


def _emptied(bench: Bench) -> list[Step]:
    return [do.discharge(bench, 1.0, ", from whatever it holds (counted as full)"), do.rest()]


def _drawn(bench: Bench) -> list[Step]:
    return [do.discharge(bench, bench.held(bench.cell.v_full), ", logging it too")]


def _steps(question: str, bench: Bench, hold_v: float | None) -> list[Step]:
    """The steps of one cell, their running totals not yet summed."""
    if question == "capacity":
        return [*_to_full(bench), *_drawn(bench)]
    if hold_v is not None:
        part = [do.charge(bench, hold_v), do.hold(bench, hold_v)]
        return [*_emptied(bench), *part, *_to_full(bench, bench.held(hold_v)), *_drawn(bench)]
    once = [*_emptied(bench), *_to_full(bench), *_drawn(bench)]
    if question != "whole_curve":
        return once
    slow_a = max(bench.tail_a, bench.charge_a / SLOWEST) if bench.holds else bench.charge_a / SLOWEST
    slowly = do.charge(bench, bench.cell.v_full, current_a=slow_a)
    reached = bench.no_hold(bench.cell.v_full, slow_a)
    return [*once, do.rest(), slowly, do.rest(), do.discharge(bench, reached, ", logging it too")]


def _summed(steps: list[Step]) -> tuple[Step, ...]:
    """The same steps with the hour at which each ends."""
    done, at_h = [], 0.0
    for step in steps:
        at_h += step.hours
        done.append(replace(step, at_h=at_h))
    return tuple(done)


def _charges(steps: tuple[Step, ...]) -> int:
    """Charges from empty: a charge that goes on after a hold is the same one."""
    kinds = [step.kind for step in steps]
    return kinds.count("charge") - sum(pair == ("hold", "charge") for pair in pairwise(kinds))


SIGHT_SHARES = (0.1, 0.3, 0.5, 0.7, 0.9, 0.97)
CURVE_SHARES = (0.2, 0.4, 0.6, 0.8, 0.9)


def _forecasts(
    question: str, bench: Bench, wanted: tuple[float, ...], hold_v: float | None, cells: int
) -> tuple[Forecast, ...]:
    """What the plan will probably show."""
    rows = [expect.full_ah(bench)]
    if question == "volts_for_share":
        rows += [expect.volts_for(bench, share) for share in dict.fromkeys(wanted)]
    elif hold_v is not None:
        rows += expect.hold_worth(bench, hold_v)
    elif question == "balancer":
        rows += [expect.seen(bench, share) for share in SIGHT_SHARES]
    elif question == "capacity":
        rows += [expect.spread(bench)] if cells > 1 else []
    else:
        rows += [expect.share_at(bench, round(_curve_v(bench, share), 2)) for share in CURVE_SHARES]
    return tuple({row.key: row for row in rows}.values())


def _curve_v(bench: Bench, share: float) -> float:
    return min(curve.volts_for_soc(bench.cell, bench.soc(share), bench.charge_c), bench.cell.v_full)


def score(plan: BenchPlan, results: Mapping[str, float]) -> Score:
    """Score a plan's forecast against what was measured.

    Parameters
    ----------
    plan : BenchPlan
        As it was made before the test.
    results : mapping of str to float
        Measured values by the `key` of their forecast, in its unit; those not measured are left out.

    Returns
    -------
    Score

    Raises
    ------
    InputError
        If nothing was measured, a value is no number, or the plan forecast no such thing.
    """
    return scored(plan.forecasts, results)
