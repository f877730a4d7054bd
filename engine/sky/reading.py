"""The sun model run backwards: from what a solar charger shows at one moment to the sky above the panels.

A sky of a moment is its kc, horizontal radiation over that of a clear sky at the same moment, and the share of it
that is diffuse. One display gives the kc, with the diffuse share that is usual at that kc (Erbs); two that
look different ways give both. Power is W of panels, before the solar charger; times are local standard time. Not
modelled: cloud edges that throw more light than a clear sky, shade that comes and goes, cold cells and low light
(4 to 8 % each, in opposite directions; the range allows for them).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.sky.climate import KC_MAX
from engine.sky.moment import LEAST_SUN_DEG, Moment, cos_incidence, expected_w, tilt_deg, usual_diffuse_share
from engine.sky.site import Array, Site, Sun

Floats = NDArray[np.float64]

READING_SPREAD_SHARE = 0.1
"""What display, cold cells and low light may be out together (assumed from 4 to 8 % each)."""
LIMIT_SHARE = 0.97
"""From this share of its limit on a charger is taken to be held by it (judgement)."""
LEAST_DIFFERENCE_SHARE = 0.3
"""Displays whose gain from the sun's own beam differs by less than this do not tell the kind of sky (judgement)."""
CLEAREST_DIFFUSE_SHARE = 0.08
"""Diffuse share under the clearest sky that is fitted (judgement; Erbs's lowest is 0.165)."""
DISPLAY_SHARE, USUAL_WITHIN_SHARE = 0.05, 0.3
"""How far a display may be out beside its neighbour, and the diffuse share from the usual one, when both are weighed
(judgement): displays that look nearly the same way would else tell a sky that is all noise."""
POOR_FIT_SHARE, CONTRADICTION_SHARE = 0.2, 0.3
"""Displays that leave more than the first unexplained do not belong to one sky; more than the second, they contradict
each other: of two alike, one shows about half of what the other does (judgement)."""
_KC = np.linspace(0.0, KC_MAX, 441)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What one display shows: power of the panels behind it [W], before their solar charger."""

    arrays: tuple[Array, ...]
    panel_w: float

    def __post_init__(self) -> None:
        if not (self.arrays and np.isfinite(self.panel_w) and self.panel_w >= 0.0):
            raise InputError("panel_w", f"A reading must be of some panels and 0 W or more; got {self.panel_w:g} W.")

    @property
    def name(self) -> str:
        """The panels' names."""
        return ", ".join(array.name for array in self.arrays)

    @property
    def limit_w(self) -> float:
        """The most the chargers of these panels pass [W]; infinite where any has no limit."""
        return sum(np.inf if array.charger_limit_w is None else array.charger_limit_w for array in self.arrays)


@dataclass(frozen=True, slots=True, kw_only=True)
class SkyReading:
    """The sky read off the displays.

    `usual_kc` is the kc at which a sky of the usual diffuse share shows the same in all; `kc` differs from it only
    where the share is told apart (`told_apart`). `low_kc` and `high_kc` are those of displays that are out by
    `READING_SPREAD_SHARE`. `other_kc` is the brighter sky that would show the same, or None. `bound` is empty,
    ``least`` (the sky is at least so bright) or ``most`` (at most); `why` then says by what: ``held``, ``limit`` or
    ``nothing`` (0 W). ``above`` says that the displays show more than any sky gives: the brightest is taken. Where
    displays `contradict` each other the kc lies between what they say and is no reading.
    """

    kc: float
    usual_kc: float
    low_kc: float
    high_kc: float
    other_kc: float | None
    diffuse_share: float
    told_apart: bool
    bound: str
    why: str
    unexplained_share: float

    @property
    def contradict(self) -> bool:
        """Whether no one sky comes near what all displays show."""
        return self.why != "above" and self.unexplained_share > CONTRADICTION_SHARE


def read_off(site: Site, sun: Sun, displays: Sequence[Shown], now: Moment, *, held: bool = False) -> SkyReading | None:
    """Find the sky under which the panels give what the displays show.

    Parameters
    ----------
    displays : sequence of Shown
        One or more, each with panels of its own.
    held : bool
        Whether the bank takes less than the panels could give (full, or held at its end volts).

    Returns
    -------
    SkyReading or None
        None where the sun stands below `LEAST_SUN_DEG`, or there is no display.

    Notes
    -----
    A display at its charger's limit beside one that is not says no more than that its panels give at least that: a sky
    must reach it. So it is for all of them under a bank that holds the panels back: the dullest sky that reaches them
    is taken. More than any sky gives is taken as the brightest one: edges of clouds pass, and a slip of the unit must
    not promise energy. Panels that face away from the sun can give the same under a dull and under a bright sky: the
    duller is taken, the careful side.
    """
    if now.height_deg < LEAST_SUN_DEG or not displays:
        return None
    if sum(one.panel_w for one in displays) <= 0.0:
        return _nothing_shown(site, sun, displays, now)
    tied = [one for one in displays if one.panel_w >= LIMIT_SHARE * one.limit_w]
    free = [one for one in displays if one not in tied]
    task = _Task(site=site, sun=sun, now=now, equal=tuple(free or tied), least=tuple(tied if free else ()))
    if held and free and len(displays) > 1:
        task = dataclasses.replace(task, equal=(), least=tuple(displays))
    kc, other, above, misfit = _solved(task)
    low_kc, high_kc = (_solved(task.times(1.0 + side * READING_SPREAD_SHARE), near=kc)[0] for side in (-1.0, 1.0))
    why = "limit" if not free else "above" if above else "held" if held else ""
    if why == "above":
        return _above(now, low_kc, misfit)
    two = _both(task) if _tell_apart(task.equal, now) else None
    usual_kc = kc
    if two is not None:
        kc, other, misfit = two[0], None, two[2]
    return SkyReading(
        kc=kc,
        usual_kc=usual_kc,
        low_kc=min(low_kc, usual_kc),
        high_kc=KC_MAX if why else max(high_kc, usual_kc),
        other_kc=other,
        diffuse_share=two[1] if two is not None else float(usual_diffuse_share(now, [kc])[0]),
        told_apart=two is not None,
        bound="least" if why else "",
        why=why,
        unexplained_share=misfit,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """Displays that show what their panels give, and those whose panels give at least what they show."""

    site: Site
    sun: Sun
    now: Moment
    equal: tuple[Shown, ...]
    least: tuple[Shown, ...]

    def times(self, factor: float) -> _Task:
        """The same with displays that show more or less."""
        more = [
            tuple(dataclasses.replace(one, panel_w=one.panel_w * factor) for one in each)
            for each in (self.equal, self.least)
        ]
        return dataclasses.replace(self, equal=more[0], least=more[1])

    def given_w(self, one: Shown, kc: Floats, share: Floats | None = None) -> Floats:
        """What the panels of a display give under skies [W]."""
        return expected_w(self.site, self.sun, one.arrays, self.now, kc, share)

    def misfits(self, kc: Floats, share: Floats | None = None) -> Floats:
        """What each sky leaves unexplained: root mean square over the displays, each in parts of its own reading."""
        total = np.zeros(kc.shape)
        for one in (*self.equal, *self.least):
            clear = float(self.given_w(one, np.array([1.0]))[0])
            missing = self.given_w(one, kc, share) - one.panel_w
            if one in self.least:
                missing = np.minimum(missing, 0.0)
            total += (missing / max(one.panel_w, 0.02 * clear, 1e-9)) ** 2
        return np.asarray(np.sqrt(total / len(self.equal + self.least)))

    def reached(self, kc: float) -> bool:
        """Whether a sky gives what displays at their limit show, as near as displays go."""
        return all(
            self.given_w(one, np.array([kc]))[0] >= (1.0 - READING_SPREAD_SHARE) * one.panel_w for one in self.least
        )

    def above(self) -> bool:
        """Whether the displays show more than the brightest sky gives, and none of them speaks for a dull one."""
        most = [(one.panel_w, float(self.given_w(one, _KC).max())) for one in (*self.equal, *self.least)]
        all_high = all(shown >= (1.0 - POOR_FIT_SHARE) * given for shown, given in most)
        return all_high and sum(shown for shown, _ in most) > sum(given for _, given in most)


def _solved(task: _Task, near: float | None = None) -> tuple[float, float | None, bool, float]:
    """The kc, the brighter one that shows the same, whether even the brightest shows less, and the misfit.

    Of several skies the dullest, or the one that is nearest to another kc.
    """
    if len(task.equal) != 1:
        return _best_of_grid(task)
    (one,) = task.equal
    given = task.given_w(one, _KC)
    if one.panel_w > given.max():
        misfit = float(task.misfits(np.array([_KC[np.argmax(given)]]))[0])
        return float(_KC[np.argmax(given)]), None, not task.least or task.above(), misfit
    crossings = [kc for kc in _crossings(given, one.panel_w) if task.reached(kc)]
    if not crossings:
        return _best_of_grid(task)
    if near is not None:
        return min(crossings, key=lambda kc: abs(kc - near)), None, False, 0.0
    apart = [kc for kc in crossings[1:] if kc - crossings[0] > 0.05]
    return crossings[0], apart[-1] if apart else None, False, 0.0


def _best_of_grid(task: _Task) -> tuple[float, None, bool, float]:
    misfit = task.misfits(_KC)
    place = int(np.argmin(misfit))
    return float(_KC[place]), None, task.above(), float(misfit[place])


def _crossings(given_w: Floats, panel_w: float) -> list[float]:
    """Every kc at which panels give what is shown."""
    return [
        float(_KC[place] + (panel_w - low) / (high - low) * (_KC[1] - _KC[0]))
        for place, (low, high) in enumerate(pairwise(given_w.tolist()))
        if min(low, high) <= panel_w <= max(low, high) and low != high
    ]


def _tell_apart(displays: Sequence[Shown], now: Moment) -> bool:
    """Whether the displays gain so differently from the sun's beam that its share can be told."""
    if len(displays) < 2:
        return False
    gains = []
    for one in displays:
        kwp = sum(array.kwp for array in one.arrays)
        beam = sum(a.kwp * max(cos_incidence(now, a), 0.0) / now.up for a in one.arrays)
        diffuse = sum(a.kwp * (1.0 + float(np.cos(np.radians(tilt_deg(now, a))))) / 2.0 for a in one.arrays)
        gains.append(beam / diffuse if kwp else 0.0)
    return max(gains) - min(gains) > LEAST_DIFFERENCE_SHARE * max(*gains, 1.0)


def _both(task: _Task) -> tuple[float, float, float]:
    """The kc, the diffuse share and the misfit of the sky that fits several displays best (bounded least squares)."""
    pull = DISPLAY_SHARE / USUAL_WITHIN_SHARE / np.sqrt(len(task.equal))
    kc_low, kc_high, share_low, share_high = 0.0, KC_MAX, CLEAREST_DIFFUSE_SHARE, 1.0
    for _ in range(6):
        kc, share = np.meshgrid(np.linspace(kc_low, kc_high, 41), np.linspace(share_low, share_high, 41))
        misfit = task.misfits(kc, share)
        unusual = pull * (share - usual_diffuse_share(task.now, kc))
        best = np.unravel_index(int(np.argmin(np.hypot(misfit, unusual))), misfit.shape)
        best_kc, best_share = float(kc[best]), float(share[best])
        half_kc, half_share = (kc_high - kc_low) / 8.0, (share_high - share_low) / 8.0
        kc_low, kc_high = max(best_kc - half_kc, 0.0), min(best_kc + half_kc, KC_MAX)
        share_low = max(best_share - half_share, CLEAREST_DIFFUSE_SHARE)
        share_high = min(best_share + half_share, 1.0)
    return best_kc, best_share, float(misfit[best])


def _above(now: Moment, low_kc: float, misfit: float) -> SkyReading:
    """The brightest sky, taken for displays that show more than any gives."""
    kc = KC_MAX
    return SkyReading(
        kc=kc,
        usual_kc=kc,
        low_kc=min(low_kc, kc),
        high_kc=KC_MAX,
        other_kc=None,
        diffuse_share=float(usual_diffuse_share(now, [kc])[0]),
        told_apart=False,
        bound="",
        why="above",
        unexplained_share=misfit,
    )


def _nothing_shown(site: Site, sun: Sun, displays: Sequence[Shown], now: Moment) -> SkyReading:
    """At most the brightest sky under which every charger still stands still."""
    given = sum(expected_w(site, sun, one.arrays, now, _KC) for one in displays)
    still = float(_KC[np.flatnonzero(np.asarray(given) <= 0.0)[-1]])
    return SkyReading(
        kc=still,
        usual_kc=still,
        low_kc=0.0,
        high_kc=still,
        other_kc=None,
        diffuse_share=1.0,
        told_apart=False,
        bound="most",
        why="nothing",
        unexplained_share=0.0,
    )
