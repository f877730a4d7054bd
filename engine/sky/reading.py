"""The sun model run backwards: from what a solar charger shows at one moment to the sky above the panels.

A sky of a moment is its kc, horizontal radiation over that of a clear sky at the same moment, and the share of it
that is diffuse. One display gives the kc, with the diffuse share that is usual at that kc (Erbs); two that
look different ways give both. Power is W of panels, before the solar charger; times are local standard time. Not
modelled: cloud edges that throw more light than a clear sky, shade that comes and goes, cold cells and low light
(4 to 8 % each, in opposite directions; the range allows for them).
"""

from __future__ import annotations

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
POOR_FIT_SHARE = 0.2
"""Displays that leave more than this unexplained do not belong to one sky (judgement)."""
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
    ``nothing`` (0 W). ``above`` says that the displays show more than any sky gives: the brightest is taken.
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
    A display at its charger's limit is left out where another is not. More than any sky gives is taken as
    the brightest one: edges of clouds pass, and a slip of the unit must not promise energy. Panels that face away from
    the sun can give the same under a dull and under a bright sky: the duller is taken, the careful side.
    """
    if now.height_deg < LEAST_SUN_DEG or not displays:
        return None
    free = [one for one in displays if one.panel_w < LIMIT_SHARE * one.limit_w]
    used = free or list(displays)
    if sum(one.panel_w for one in used) <= 0.0:
        return _nothing_shown(site, sun, used, now)
    found = [_solved(site, sun, _times(used, factor), now) for factor in _SPREAD]
    kc, other, above, misfit = found[1]
    why = "limit" if not free else "above" if above else "held" if held else ""
    if why == "above":
        return _above(now, found[0][0], misfit)
    two = _both(site, sun, used, now) if _tell_apart(used, now) else None
    usual_kc = kc
    if two is not None:
        kc, other, misfit = two[0], None, two[2]
    return SkyReading(
        kc=kc,
        usual_kc=usual_kc,
        low_kc=min(found[0][0], usual_kc),
        high_kc=KC_MAX if why else max(found[2][0], usual_kc),
        other_kc=other,
        diffuse_share=two[1] if two is not None else float(usual_diffuse_share(now, [kc])[0]),
        told_apart=two is not None,
        bound="least" if why else "",
        why=why,
        unexplained_share=misfit,
    )


_SPREAD = (1.0 - READING_SPREAD_SHARE, 1.0, 1.0 + READING_SPREAD_SHARE)


def _times(displays: Sequence[Shown], factor: float) -> list[Shown]:
    return [Shown(arrays=one.arrays, panel_w=one.panel_w * factor) for one in displays]


def _misfits(site: Site, sun: Sun, displays: Sequence[Shown], now: Moment, kc: Floats, share: Floats | None) -> Floats:
    """What each sky leaves unexplained: root mean square over the displays, each in parts of its own reading."""
    total = np.zeros(kc.shape)
    for one in displays:
        clear = float(expected_w(site, sun, one.arrays, now, [1.0])[0])
        weight = max(one.panel_w, 0.02 * clear, 1e-9)
        total += ((expected_w(site, sun, one.arrays, now, kc, share) - one.panel_w) / weight) ** 2
    return np.asarray(np.sqrt(total / len(displays)))


def _solved(site: Site, sun: Sun, displays: Sequence[Shown], now: Moment) -> tuple[float, float | None, bool, float]:
    """The kc, the brighter one that shows the same, whether even the brightest shows less, and the misfit."""
    if len(displays) > 1:
        misfit = _misfits(site, sun, displays, now, _KC, None)
        place = int(np.argmin(misfit))
        shown = sum(one.panel_w for one in displays)
        most = sum(float(expected_w(site, sun, one.arrays, now, _KC).max()) for one in displays)
        return float(_KC[place]), None, shown > most, float(misfit[place])
    (one,) = displays
    given = expected_w(site, sun, one.arrays, now, _KC)
    if one.panel_w > given.max():
        return float(_KC[np.argmax(given)]), None, True, float(one.panel_w / max(given.max(), 1e-9) - 1.0)
    crossings = [
        float(_KC[place] + (one.panel_w - low) / (high - low) * (_KC[1] - _KC[0]))
        for place, (low, high) in enumerate(pairwise(given.tolist()))
        if min(low, high) <= one.panel_w <= max(low, high) and low != high
    ]
    apart = [kc for kc in crossings[1:] if kc - crossings[0] > 0.05]
    return crossings[0], apart[-1] if apart else None, False, 0.0


def _tell_apart(displays: Sequence[Shown], now: Moment) -> bool:
    """Whether the displays gain so differently from the sun's beam that its share can be told."""
    gains = []
    for one in displays:
        kwp = sum(array.kwp for array in one.arrays)
        beam = sum(a.kwp * max(cos_incidence(now, a), 0.0) / now.up for a in one.arrays)
        diffuse = sum(a.kwp * (1.0 + float(np.cos(np.radians(tilt_deg(now, a))))) / 2.0 for a in one.arrays)
        gains.append(beam / diffuse if kwp else 0.0)
    return max(gains) - min(gains) > LEAST_DIFFERENCE_SHARE * max(max(gains), 1.0)


def _both(site: Site, sun: Sun, displays: Sequence[Shown], now: Moment) -> tuple[float, float, float]:
    """The kc, the diffuse share and the misfit of the sky that fits several displays best (bounded least squares)."""
    pull = DISPLAY_SHARE / USUAL_WITHIN_SHARE / np.sqrt(len(displays))
    kc_low, kc_high, share_low, share_high = 0.0, KC_MAX, CLEAREST_DIFFUSE_SHARE, 1.0
    for _ in range(6):
        kc, share = np.meshgrid(np.linspace(kc_low, kc_high, 41), np.linspace(share_low, share_high, 41))
        misfit = _misfits(site, sun, displays, now, kc, share)
        unusual = pull * (share - usual_diffuse_share(now, kc))
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
