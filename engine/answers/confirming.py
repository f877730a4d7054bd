"""Is the size found at once right for real cells: the full cell model run through every spell deep enough to matter.

Times away from full that the depth spectrum finds are run, those that come soon after one another in one go; each run
begins `LEAD_DAYS` before them with a bank charged as set, so that it goes into them as full as real cells get. The
smallest bank that keeps the risk is found by halving, since a larger bank runs empty no more often: not quite true of
sodium-ion at its cut-off, where sizes a few percent apart had 30 and 31 dark spells by turns. For the same reason a
span that a bank came through is not run again for a larger one. Sizes are usable kWh at the bank's terminals.
Not modelled: what is left over from before the lead.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass, field
from math import ceil, inf, log2

from engine.answers.risks import Risk
from engine.answers.winters import LEAST_STRINGS, Fitted
from engine.balance.depths import Outing, outings
from engine.balance.step import Plant, State, plant
from engine.balance.trajectory import run
from engine.errors import Unreachable
from engine.house.sizes import MOST_STRINGS, with_strings
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

NEAR_SHARE = 0.005
"""The size is found to within this share (choice)."""
DEEP_SHARE = 0.5
"""Times away from full shallower than this share of the bank are not run: real cells do not lose half (judgement)."""
LEAD_DAYS = 21
"""Days before a spell that are run as well (choice)."""
_LOW, _HIGH = 0.995, 1.005
"""Ends of the first bracket in times of the size found at once, which is within half a percent for most lithium."""
_STEP, _GROWING = 0.02, 3.0
"""The first step by which a bracket is widened, in times of that size, and how each next one grows (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far the trial is: share done [-], sizes tried, and the bracket it is down to [kWh].

    There is one before the first size, after each span run and at the end; a span takes about 0.1 s, one of years on
    panels that barely fill a bank up to 1 s. `done_share` never falls.
    """

    done_share: float
    sizes_tried: int
    low_kwh: float
    high_kwh: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmed:
    """What the full cell model says of a size.

    Attributes
    ----------
    spectrum_kwh, confirmed_kwh : float
        Smallest bank by the depth spectrum and by the full cell model.
    spells_run, years : int
        Runs through times away from full, and of how many winters.
    """

    risk: Risk
    times: float
    years: int
    spectrum_kwh: float
    confirmed_kwh: float
    spectrum_label_kwh: float
    spectrum_strings: int
    confirmed_strings: int
    confirmed_label_kwh: float
    spells_run: int

    @property
    def difference_share(self) -> float:
        """How much more the full cell model asks [-]."""
        return self.confirmed_kwh / self.spectrum_kwh - 1.0


def confirming(fit: Fitted, risk: Risk, times: float = 1.0) -> Iterator[Progress | Confirmed]:
    """Try a size step by step; the last thing given is the `Confirmed`, all before it are `Progress`.

    Parameters
    ----------
    risk : Risk
        One of ``fit.allowed``.
    times : float
        Panels in times of the own.

    Raises
    ------
    Unreachable
        If no bank is asked for, or none that can be built is enough.
    """
    trial = _trial(fit, risk, times)
    at = _Bracket(fit=fit, first=trial.first, low=_LOW * trial.first, high=min(_HIGH * trial.first, MOST_STRINGS))
    yield at.progress()
    while at.low > LEAST_STRINGS and (yield from _keeping(trial, at, at.low, whole=True)):
        at.high, at.low, at.ends = at.low, max(at.low - at.wider(), LEAST_STRINGS), 1
    at.ends -= 1
    while at.ends and not (yield from _keeping(trial, at, at.high)):
        if at.high >= MOST_STRINGS:
            raise Unreachable(f"Even {MOST_STRINGS} strings of {fit.supply.bank.name} do not keep this risk.")
        at.low, at.high = at.high, min(at.high + at.wider(), MOST_STRINGS)
    at.ends = 0
    while at.high - at.low > NEAR_SHARE * trial.first:
        middle = 0.5 * (at.low + at.high)
        at.low, at.high = (at.low, middle) if (yield from _keeping(trial, at, middle)) else (middle, at.high)
    yield at.progress()
    high = at.high
    yield Confirmed(
        risk=risk,
        times=times,
        years=fit.hours.years.size,
        spectrum_kwh=fit.kwh(trial.first),
        confirmed_kwh=fit.kwh(high),
        spectrum_label_kwh=with_strings(fit.supply.bank, trial.first).label_kwh,
        spectrum_strings=ceil(trial.first - 1e-6),
        confirmed_strings=ceil(high - 1e-6),
        confirmed_label_kwh=with_strings(fit.supply.bank, high).label_kwh,
        spells_run=len(trial.spans),
    )


def _keeping(trial: _Trial, at: _Bracket, strings: float, whole: bool = False) -> Generator[Progress, None, bool]:
    """Try one size, and tell how far that is; `whole` as for `keeps`."""
    shares = trial.keeps(strings, whole)
    while True:
        try:
            share = next(shares)
        except StopIteration as end:
            at.tried += 1
            return bool(end.value)
        yield at.progress(share)


@dataclass(slots=True, kw_only=True)
class _Bracket:
    """Strings between which the size lies, sizes tried, its ends not known to be right, and the most told as done.

    `step` is by how much it is widened next, in times of the first size.
    """

    fit: Fitted
    first: float
    low: float
    high: float
    tried: int = 0
    ends: int = 2
    done_share: float = 0.0
    step: float = _STEP

    def wider(self) -> float:
        """Return by how many strings to widen it, more each time."""
        strings, self.step = self.step * self.first, self.step * _GROWING
        return strings

    def progress(self, share: float = 0.0) -> Progress:
        """How far it is with a share of the size at hand run; a bracket that had to be widened takes nothing back."""
        halvings = ceil(log2(max((self.high - self.low) / (NEAR_SHARE * self.first), 1.0)))
        left = self.ends + halvings
        self.done_share = max(self.done_share, (self.tried + share) / max(self.tried + left, 1))
        low_kwh, high_kwh = self.fit.kwh(self.low), self.fit.kwh(self.high)
        return Progress(done_share=self.done_share, sizes_tried=self.tried, low_kwh=low_kwh, high_kwh=high_kwh)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trial:
    """One risk on so many times the panels: the spans to run, in hours, and what they may leave dark.

    `through` is the smallest bank that came through a span with nothing dark, in strings.
    """

    fit: Fitted
    risk: Risk
    times: float
    first: float
    spans: tuple[tuple[int, int], ...]
    spells: int
    short_wh: float
    through: dict[tuple[int, int], float] = field(default_factory=dict)

    def keeps(self, strings: float, whole: bool) -> Generator[float, None, bool]:
        """Whether a bank of so many strings keeps the risk; on the way, the share of the spans run after each.

        With `whole` all spans are run even when the answer is known: what this bank comes through, larger ones need
        not be run through.
        """
        bank = with_strings(self.fit.supply.bank, strings)
        p, top = plant(bank, self.fit.supply.inverter, self.fit.found.power_w), bank.top_reached_soc
        dark, short_wh, kept = 0, 0.0, True
        spans = [span for span in self.spans if strings < self.through.get(span, inf)]
        for run_through, span in enumerate(spans, start=1):
            more, wh = self._run(p, top, *span)
            if not more:
                self.through[span] = strings
            dark, short_wh = dark + more, short_wh + wh
            kept = short_wh <= self.short_wh if self.risk.share is not None else dark <= self.spells
            if not (kept or whole):
                return False
            yield run_through / len(spans)
        return kept

    def _run(self, p: Plant, top_soc: float, begin_h: int, end_h: int) -> tuple[int, float]:
        """Dark spells of a span of whole days, and what went unserved in it [Wh]."""
        ac_w, dc_w = (w.tolist() for w in self.fit.hours.loads(begin_h // HOURS_PER_DAY, end_h // HOURS_PER_DAY))
        sun_w = self.times * self.fit.hours.sun_w[begin_h:end_h]
        path = run(p, State(top_soc), sun_w.tolist(), ac_w, dc_w)
        short = [limit not in {"", "overload"} for limit in path.limits]
        spells, dark = 0, False
        for empty, charged in zip(short, path.charged[1:].tolist(), strict=True):
            spells += empty and not dark
            dark = (dark or empty) and not charged
        return spells, float(path.unserved_wh[short].sum())


def _trial(fit: Fitted, risk: Risk, times: float) -> _Trial:
    years, load_kwh = fit.hours.years.size, fit.hours.load_kwh
    cycles = fit.found.leaking(times, risk.spells(years))
    near_kwh = risk.bank_kwh(cycles, years, load_kwh)
    if not fit.found.refills(times):
        raise Unreachable("On these panels no bank of any size is full again within a year: there is no size to try.")
    if near_kwh <= 0.0:
        raise Unreachable("The sun carries this load hour by hour: no bank is asked for.")
    kwh = fit.exact_kwh(risk, near_kwh, times)
    if kwh > fit.most_kwh:
        raise Unreachable(
            f"No bank of up to {MOST_STRINGS} strings of {fit.supply.bank.name} keeps this risk on these panels."
        )
    deep = [one for one in outings(fit.found.net_kwh(times, kwh)) if one.depth_kwh > DEEP_SHARE * kwh]
    return _Trial(
        fit=fit,
        risk=risk,
        times=times,
        first=fit.strings_for(kwh),
        spans=_spans(deep),
        spells=risk.spells(years),
        short_wh=(risk.share or 0.0) * fit.hours.sockets_kwh * WH_PER_KWH,
    )


def _spans(away: Sequence[Outing]) -> tuple[tuple[int, int], ...]:
    """Whole days to run [h], with the lead before each time away, the span of the deepest first."""
    spans: list[tuple[float, int, int]] = []
    for one in sorted(away, key=lambda one: one.begin_h):
        begin = max(one.begin_h // HOURS_PER_DAY - LEAD_DAYS, 0) * HOURS_PER_DAY
        end = ceil(one.end_h / HOURS_PER_DAY) * HOURS_PER_DAY
        if spans and begin <= spans[-1][2]:
            depth, first, last = spans[-1]
            spans[-1] = (max(depth, one.depth_kwh), first, max(last, end))
        else:
            spans.append((one.depth_kwh, begin, end))
    return tuple((begin, end) for _, begin, end in sorted(spans, reverse=True))
