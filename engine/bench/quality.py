"""Whether a bench test can be believed: what is wrong with its rows, its sensors, its charges and its leads.

Each question returns findings in a householder's words. A check is something to look into before the numbers are
used, a stop is a danger to the cell; neither missing is an approval. Limits here are engineering choices unless their
line says more. Volts of one cell, amperes, ampere-hours, degC. Not modelled: what one sensor alone cannot show.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from engine.bench.clean import CleanLog, gaps, running_median
from engine.bench.cycles import Cycle
from engine.bench.limits import PACK_V
from engine.bench.records import Array
from engine.bench.runs import Flow
from engine.bench.segments import Segment
from engine.text.finding import Finding

_OFFSET_SHARE, _OFFSET_AH_SHARE = 0.005, 0.01
_COUNTER_SHARE = 0.02
_NOISE_NOTE, _NOISE_CHECK = 0.03, 0.1
_PULSE_SHARE, _DROPOUT_SHARE = 0.1, 0.01
_STEADY_BAND, _STEADY_SHARE = 0.1, 0.05
_GRAIN_NOTE_V, _GRAIN_CHECK_V = 0.005, 0.02
_GRAIN_MOST, _GRAIN_OFF = 2000, 0.1
_EDGE_SHARE, _LARGE_SHARE, _UNSEEN_SHARE = 0.2, 0.2, 0.01
_DROP_V_PER_C = 0.12
"""A step of one row above this is more than an ordinary cell's first second [V per C-rate], assumed."""
_DROP_S = 15.0
_CHILL_C, _WARM_C, _DRIFT_K, _HOT_C = 15.0, 35.0, 10.0, 60.0
_DIGITS = "{:.3g}".format


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Everything the questions look at."""

    log: CleanLog
    flow: Flow
    ah: Array
    segments: tuple[Segment, ...]
    cycles: tuple[Cycle, ...]
    label_ah: float | None
    series: int


def questions(evidence: Evidence) -> tuple[Finding, ...]:
    """Ask everything of a log's rows and sensors, in the order a reader should see it."""
    asked: Sequence[Callable[[Evidence], Iterator[Finding]]] = (
        _cold_charge,
        _heat,
        _pack,
        _silence,
        _sparse,
        _counter,
        _offset,
        _leads,
        _grain,
        _noise,
        _unsteady,
        _pulses,
        _dropouts,
        _climate,
    )
    return tuple(finding for question in asked for finding in question(evidence))


def flowing(evidence: Evidence) -> Iterator[Segment]:
    """Yield the segments in which current flows."""
    return (segment for segment in evidence.segments if segment.kind != "rest")


def _cold_charge(evidence: Evidence) -> Iterator[Finding]:
    """A cell charged below freezing may plate metal and short later."""
    put = [s for s in evidence.segments if s.kind in ("charge", "hold") and s.min_temperature_c is not None]
    coldest_c = min((s.min_temperature_c for s in put if s.min_temperature_c is not None), default=0.0)
    if coldest_c < 0:
        text = (
            f"The cell was charged at {coldest_c:.0f} °C. Charging lithium cells below 0 °C can damage them unseen and "
            "make them dangerous; sodium-ion only as far as the maker's sheet allows. Do not build such a cell in."
        )
        yield Finding(level="stop", code="charged_below_zero", text=text)


def _heat(evidence: Evidence) -> Iterator[Finding]:
    """A cell this hot is a danger whatever it measures."""
    hottest_c = max((s.max_temperature_c for s in evidence.segments if s.max_temperature_c is not None), default=0.0)
    if hottest_c > _HOT_C:
        text = f"The cell reached {hottest_c:.0f} °C. Stop testing it, let it cool outdoors and read the maker's limit."
        yield Finding(level="stop", code="too_hot", text=text)


def _pack(evidence: Evidence) -> Iterator[Finding]:
    """Whether the volts are those of one cell."""
    top_v = float(evidence.log.voltage_v.max())
    if top_v > PACK_V:
        text = (
            f"The volts reach {top_v:.1f} V per cell, more than any one cell has: "
            "if this is a pack, say how many cells it has in series."
        )
        yield Finding(level="check", code="volts_of_a_pack", text=text)
    elif evidence.series > 1:
        text = (
            f"A pack of {evidence.series} in series: its volts are divided by {evidence.series}. "
            "The weakest cell ends the test and does not show by itself."
        )
        yield Finding(level="note", code="pack_log", text=text)


def _silence(evidence: Evidence) -> Iterator[Finding]:
    """Gaps in time, and what they may hide."""
    time_s, current_a = evidence.log.time_s, evidence.flow.current_a
    silent = gaps(time_s)
    if not len(silent):
        return
    length_s = time_s[silent + 1] - time_s[silent]
    across_a = np.maximum(np.abs(current_a[silent]), np.abs(current_a[silent + 1]))
    worst = int((across_a * length_s).argmax())
    live = across_a[worst] > evidence.flow.least_a
    count = "There is a gap" if len(silent) == 1 else f"There are {len(silent)} gaps"
    text = f"{count} in the log; the worst lasts {_span(length_s[worst])} at {_clock(time_s[silent[worst]])}"
    if live:
        unseen_ah = float((across_a * length_s).sum()) / 3600
        text += f" with {_DIGITS(across_a[worst])} A flowing: up to {_DIGITS(unseen_ah)} Ah are guessed."
    else:
        text += ", while the cell rested."
    yield Finding(level="check" if live else "note", code="gap", text=text)


def unseen(log: CleanLog, current: Flow, segments: Sequence[Segment]) -> tuple[float, Segment | None, float]:
    """Return the largest share of a run's ampere-hours that no row saw, that run, and the rows' distance there.

    Between two rows at which a current starts, stops or turns it may have done so at any moment: up to half of the
    change over that time is guessed. Runs of less than a fifth of the largest, and gaps, are left out.

    Returns
    -------
    (share, segment, seconds)
        0, None and 0 where every edge is seen.
    """
    time_s, current_a = log.time_s, current.current_a
    silent = set(gaps(time_s).tolist())
    runs = [segment for segment in segments if segment.kind != "rest"]
    largest_ah = max((abs(run.ah) for run in runs), default=0.0)
    found: tuple[float, Segment | None, float] = (0.0, None, 0.0)
    for run in runs:
        edges = [k for k in (run.first - 1, run.stop - 1) if 0 <= k < len(time_s) - 1 and k not in silent]
        steps_a = [abs(float(current_a[k + 1] - current_a[k])) for k in edges]
        sharp = [(k, a) for k, a in zip(edges, steps_a, strict=True) if a > _EDGE_SHARE * current.scale_a]
        guessed_ah = sum(a * float(time_s[k + 1] - time_s[k]) for k, a in sharp) / 2.0 / 3600.0
        if abs(run.ah) >= _LARGE_SHARE * largest_ah > 0.0 and guessed_ah / abs(run.ah) > found[0]:
            found = (guessed_ah / abs(run.ah), run, max(float(time_s[k + 1] - time_s[k]) for k, _ in sharp))
    return found


def _sparse(evidence: Evidence) -> Iterator[Finding]:
    """Rows too far apart to see when a current starts and stops."""
    share, run, apart_s = unseen(evidence.log, evidence.flow, evidence.segments)
    if run is None or share <= _UNSEEN_SHARE:
        return
    text = (
        f"The rows lie {_span(apart_s)} apart where the {run.kind} at {_clock(run.start_s)} starts or stops: up to "
        f"{_DIGITS(share * abs(run.ah))} of its {_DIGITS(abs(run.ah))} Ah, {100 * share:.0f} %, are guessed, and a "
        "resistance read from such rows may be far off. Log a row a minute, or one at each start and stop."
    )
    yield Finding(level="check", code="rows_sparse", text=text)


def _counter(evidence: Evidence) -> Iterator[Finding]:
    """The tester's own count of ampere-hours against ours."""
    counter_ah = evidence.log.counter_ah
    if counter_ah is None or not np.isfinite(counter_ah).any():
        return
    steps_ah = np.abs(np.diff(counter_ah))
    ours_ah = np.abs(np.diff(evidence.ah))
    grain_ah = _grain_of(counter_ah)
    expected_ah = 5.0 * ours_ah + 3.0 * grain_ah + 0.02 * float(np.nanmax(np.abs(counter_ah)))
    fallen = np.abs(counter_ah[1:]) < 0.1 * np.abs(counter_ah[:-1])
    reset = (steps_ah > expected_ah) & fallen
    if reset.any():
        first_h = float(evidence.log.time_s[int(reset.argmax()) + 1]) / 3600
        text = (
            f"The ampere-hour counter starts again {int(reset.sum())} times, first at {first_h:.2f} h; "
            "the ampere-hours here are added up from the amperes."
        ).replace("1 times", "once")
        yield Finding(level="note", code="counter_reset", text=text)
    steps_ah[reset | ~np.isfinite(steps_ah)] = 0.0
    yield from _counter_against_ours(evidence, steps_ah)


def _counter_against_ours(evidence: Evidence, steps_ah: Array) -> Iterator[Finding]:
    """Compare the counter with our sum over each run that moved much."""
    largest_ah = max((abs(s.ah) for s in flowing(evidence)), default=0.0)
    worst: tuple[float, Segment | None, float] = (0.0, None, 0.0)
    for segment in flowing(evidence):
        theirs_ah = float(steps_ah[segment.first : segment.stop - 1].sum())
        ours_ah = abs(float(evidence.ah[segment.stop - 1] - evidence.ah[segment.first]))
        if ours_ah > 0.2 * largest_ah and theirs_ah > 0 and abs(theirs_ah / ours_ah - 1) > worst[0]:
            worst = (abs(theirs_ah / ours_ah - 1), segment, theirs_ah)
    share, segment_, theirs_ah = worst
    if segment_ is not None and share > _COUNTER_SHARE:
        text = (
            f"The tester's counter says {_DIGITS(theirs_ah)} Ah for the {segment_.kind} at {_clock(segment_.start_s)}, "
            f"its amperes add up to {_DIGITS(abs(segment_.ah))} Ah: {100 * share:.0f} % apart. "
            "One of the two is wrong; check against a meter you trust."
        )
        yield Finding(level="check", code="counter_disagrees", text=text)


def _offset(evidence: Evidence) -> Iterator[Finding]:
    """Amperes that read other than zero at rest."""
    offset_a, scale_a = evidence.flow.offset_a, evidence.flow.scale_a
    if abs(offset_a) < _OFFSET_SHARE * scale_a:
        return
    run = max(flowing(evidence), key=lambda s: abs(s.ah), default=None)
    share = abs(offset_a) * run.hours / abs(run.ah) if run else 0.0
    text = (
        f"At rest the log reads {1000 * offset_a:.0f} mA instead of 0: the ampere-hours are off by up to {share:.1%}."
    )
    yield Finding(
        level="check" if share > _OFFSET_AH_SHARE else "note",
        code="current_offset",
        text=text.replace("%.", " %."),
    )


def _leads(evidence: Evidence) -> Iterator[Finding]:
    """Volts that jump with the current by more than a cell's own resistance."""
    if evidence.log.voltage_v.max() > PACK_V:
        return
    ohm = min(_step_ohms(evidence), default=0.0)
    size_ah = evidence.label_ah or max((abs(s.ah) for s in flowing(evidence)), default=0.0)
    if ohm * size_ah > _DROP_V_PER_C:
        shift_mv = 1000 * ohm * evidence.flow.scale_a
        text = (
            f"The volts jump by {shift_mv:.0f} mV at the moment {_DIGITS(evidence.flow.scale_a)} A start or stop: "
            f"about {1000 * ohm:.0f} mΩ, much for a cell of {_DIGITS(size_ah)} Ah. Volts measured through the leads "
            "that carry the current read too high on charge and too low on discharge: use separate sense leads (four "
            "wires), or look for a bad contact or a worn cell."
        )
        yield Finding(level="check", code="leads_drop", text=text)


def _step_ohms(evidence: Evidence) -> list[float]:
    """Resistance of each step of the current that is sharp, sampled closely, and away from the steep empty end."""
    log, current_a = evidence.log, evidence.flow.current_a
    middle_v = float(np.median(log.voltage_v[np.abs(current_a) > evidence.flow.least_a]))
    ohms = []
    for segment in evidence.segments[1:]:
        before, after = segment.first - 1, segment.first
        change_a = float(current_a[after] - current_a[before])
        close = log.time_s[after] - log.time_s[before] <= _DROP_S
        full = max(log.voltage_v[before], log.voltage_v[after]) >= middle_v
        if close and full and abs(change_a) > 0.2 * evidence.flow.scale_a:
            ohms.append(float(log.voltage_v[after] - log.voltage_v[before]) / change_a)
    return ohms


def _grain(evidence: Evidence) -> Iterator[Finding]:
    """Volts written in coarse steps."""
    grain_v = _grain_of(evidence.log.voltage_v)
    if grain_v >= _GRAIN_NOTE_V:
        text = (
            f"The volts are written in steps of {1000 * grain_v:.0f} mV per cell: "
            "a charge-end voltage read from this log is no finer."
        )
        yield Finding(level="check" if grain_v >= _GRAIN_CHECK_V else "note", code="volts_coarse", text=text)


def _grain_of(values: Array) -> float:
    """Return the step values are written in, or 0 where they are as good as continuous."""
    different = np.unique(np.round(values[np.isfinite(values)], 6))
    if len(different) < 2 or len(different) > _GRAIN_MOST:
        return 0.0
    apart = np.diff(different)
    grain = float(np.percentile(apart, 10))
    if np.median(apart) <= 2.0 * grain:
        return grain
    # Few rows lie further apart than they are written: then every one must be a whole number of the smallest step.
    least = float(apart.min())
    off = np.abs(different / least - np.round(different / least))
    return least if off.max() < _GRAIN_OFF else 0.0


def _noise(evidence: Evidence) -> Iterator[Finding]:
    """Amperes that jitter in a steady run."""
    worst = 0.0
    for segment in evidence.segments:
        if segment.kind in ("charge", "discharge") and segment.stop - segment.first >= 20 and segment.median_a:
            amperes = evidence.flow.current_a[segment.rows]
            jitter_a = 1.48 * float(np.median(np.abs(amperes - running_median(amperes, 5))))
            worst = max(worst, jitter_a / abs(segment.median_a))
    if worst > _NOISE_NOTE:
        text = (
            f"The amperes jitter by {100 * worst:.0f} % from row to row; "
            "over a whole charge that evens out, at the end of a hold it does not."
        )
        yield Finding(level="check" if worst > _NOISE_CHECK else "note", code="current_noisy", text=text)


def _unsteady(evidence: Evidence) -> Iterator[Finding]:
    """Runs whose current is not constant."""
    for segment in evidence.segments:
        if segment.kind not in ("charge", "discharge") or not segment.median_a:
            continue
        amperes = running_median(evidence.flow.current_a[segment.rows], 5)
        if float(np.mean(np.abs(amperes / segment.median_a - 1) > _STEADY_BAND)) > _STEADY_SHARE:
            text = (
                f"The {segment.kind} at {_clock(segment.start_s)} is not at one current: "
                f"its curve is read only where it flows within 10 % of {_DIGITS(abs(segment.median_a))} A."
            )
            yield Finding(level="note", code="current_not_constant", text=text)
            return


def _pulses(evidence: Evidence) -> Iterator[Finding]:
    """Pulses too short to be a charge or a discharge."""
    current_a, count = evidence.flow.current_a, 0
    for run in evidence.flow.runs:
        inner = current_a[run.first + 1 : run.stop - 1]
        against = (np.sign(inner) != run.state) & (np.abs(inner) > _PULSE_SHARE * evidence.flow.scale_a)
        count += int((np.diff(against.astype(np.int8), prepend=0) > 0).sum())
    if count:
        text = (
            f"Pulses of current shorter than 30 s: {count}. Their ampere-hours are counted where they fall; nothing "
            "else is read from them."
        )
        yield Finding(level="note", code="pulses_ignored", text=text)


def _dropouts(evidence: Evidence) -> Iterator[Finding]:
    """Rows in a charge or discharge that say no current flowed."""
    current_a, step_h = evidence.flow.current_a, np.gradient(evidence.log.time_s) / 3600
    lost_ah, total_ah, count = 0.0, sum(abs(s.ah) for s in flowing(evidence)), 0
    for run in evidence.flow.runs:
        still = np.abs(current_a[run.first : run.stop]) <= evidence.flow.least_a
        if run.state and still.any():
            count += int(still.sum())
            lost_ah += float(
                step_h[run.first : run.stop][still].sum() * np.median(np.abs(current_a[run.first : run.stop]))
            )
    if count:
        text = (
            f"{count} rows inside a charge or a discharge read 0 A. They are counted as written; if the current did "
            f"flow, {_DIGITS(lost_ah)} Ah are missing."
        )
        level = "check" if lost_ah > _DROPOUT_SHARE * total_ah else "note"
        yield Finding(level=level, code="current_dropouts", text=text)


def _climate(evidence: Evidence) -> Iterator[Finding]:
    """Whether the capacity is that of a cell at 25 degC; of another temperature it is as good, for that one."""
    known = [s for s in flowing(evidence) if s.mean_temperature_c is not None]
    if not known:
        return
    hours = sum(s.hours for s in known)
    mean_c = sum((s.mean_temperature_c or 0.0) * s.hours for s in known) / hours
    if not _CHILL_C <= mean_c <= _WARM_C:
        text = (
            f"The cell was at {mean_c:.0f} °C on average: the capacity is that at {mean_c:.0f} °C, not at 25 °C. "
            "A bank given this test keeps its temperature and counts cold from there."
        )
        yield Finding(level="note", code="temperature_outside", text=text)
    low_c, high_c = (f(v for s in known for v in _ends_c(s)) for f in (min, max))
    if high_c - low_c > _DRIFT_K:
        text = f"The temperature went from {low_c:.0f} to {high_c:.0f} °C: charge and discharge are not alike in it."
        yield Finding(level="note", code="temperature_drift", text=text)


def _ends_c(segment: Segment) -> tuple[float, ...]:
    return tuple(c for c in (segment.min_temperature_c, segment.max_temperature_c) if c is not None)


def _clock(time_s: float) -> str:
    return f"{time_s / 3600:.2f} h"


def _span(length_s: float) -> str:
    return f"{length_s:.0f} s" if length_s < 120 else f"{length_s / 60:.0f} min"
