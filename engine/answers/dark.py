"""Why it went dark: the night run again under each cause, ranked by what was seen, and what would decide.

Charges are shares of tested Ah, moments local standard time. One bank on one inverter. The weights compare the causes
listed with one another; a cause that is not listed has none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import exp, inf, log, sqrt

import numpy as np

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.dark_causes import COLD, EMPTY, IDLE, Cause, causes
from engine.answers.dark_measure import (
    LEADING_WEIGHT,
    MOST_LEADING,
    Measurement,
    Truth,
    measurements,
)
from engine.answers.dark_night import TOO_COLD, Body, Night, Rerun, night
from engine.answers.dark_parts import dark_assumptions, dark_notices, dark_worked
from engine.answers.dark_seen import BOARD, LOW, NOTHING, OVERLOAD, Seen
from engine.answers.dark_volts import check_volts, volts_misfit
from engine.answers.dark_weights import READING_SOC, Grid, above, fits, needed, shares_of, tail, verdict
from engine.errors import Unreachable
from engine.house.bank import cutoff_cell_v
from engine.house.bus import clash_sentence
from engine.house.household import Household, Supply

DROP_ERROR_SOC, DROP_TOLD_SHARE, DROP_LOADS_SHARE = 0.02, 0.15, 0.25
"""Points from the evening to the dark: of the readings, and of the loads as told or as entered (judgement)."""
KEPT_CHANCE = 1e-3
"""Values of an unknown with less than this of a cause's chance are left out of what it predicts (choice)."""

_FOUND = {
    "inverter": {LOW: 0.7, BOARD: 0.05, OVERLOAD: 0.05, NOTHING: 0.2},
    "board": {LOW: 0.15, BOARD: 0.5, OVERLOAD: 0.05, NOTHING: 0.3},
    "overload": {LOW: 0.1, BOARD: 0.05, OVERLOAD: 0.7, NOTHING: 0.15},
    "cold or rate": {LOW: 0.45, BOARD: 0.25, OVERLOAD: 0.05, NOTHING: 0.25},
}
"""Chance of each finding by the limit that ended it (judgement): a board that opens leaves the inverter without power,
so that it often shows nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseFound:
    """One cause, how well it fits, and what it would have to be.

    Attributes
    ----------
    weight : float
        Its share of all causes here [-].
    fits : str
        well, could, hardly or cannot.
    needed : float or None
        Value of its unknown that makes the night what was seen; None where none does.
    most_soc : float
        Highest charge that the monitor could show at the dark with any value of its unknown [-].
    true_soc : float or None
        Charge that was in the cells then [-].
    limit : str
        What ended it: inverter, board, current, overload, cold, or cold or rate.
    rerun : Rerun or None
        The night with the needed value.
    """

    code: str
    weight: float
    fits: str
    needed: float | None
    most_soc: float
    true_soc: float | None
    limit: str
    rerun: Rerun | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Dark:
    """The answer for one bank.

    Attributes
    ----------
    causes : tuple of CauseFound
        The likeliest first.
    leading : tuple of str
        Causes that a measurement is chosen to decide between.
    measurements : tuple of Measurement
        The one that decides best first.
    expected_soc, expected_limit : float, str
        Where the bank as entered goes dark under that load, without any fault [-], and what ends it.
    expected_v : float
        Pack volts under that load at the charge shown, the cells' own resistance alone [V].
    start_soc : float
        What the monitor showed in the evening, or would have [-].
    cut_v, load_w : float
        Pack volts under load at which inverter or board ends it [V]; drawn from the bank just then [W].
    charge_min_c : float
        Coldest cells that chemistry and board allow to be charged [degC].
    """

    seen: Seen
    bank_id: str
    name: str
    causes: tuple[CauseFound, ...]
    leading: tuple[str, ...]
    measurements: tuple[Measurement, ...]
    expected_soc: float
    expected_limit: str
    expected_v: float
    start_at: datetime
    start_soc: float
    night_h: float
    cut_v: float
    load_w: float
    charge_min_c: float
    notices: tuple[Notice, ...]
    worked: tuple[Worked, ...]
    assumptions: tuple[Assumption, ...]

    @property
    def first(self) -> CauseFound:
        """The likeliest cause."""
        return self.causes[0]

    @property
    def coldest_c(self) -> float:
        """Temperature of the cells, as told or as cold as a leading cause would have them [degC]."""
        colder = (one.needed for one in self.causes if one.code == COLD and one.code in self.leading)
        return self.seen.cell_c - max((by_c for by_c in colder if by_c is not None), default=0.0)

    @property
    def warm_first(self) -> bool:
        """Whether the cells are, or may be, too cold to be charged."""
        return self.coldest_c < self.charge_min_c

    @property
    def usual(self) -> bool:
        """Whether the night needs no fault: the bank was empty by then."""
        return self.first.code == EMPTY and self.first.fits in ("well", "could")

    @property
    def alone(self) -> bool:
        """Whether no second cause is likely enough to be told from the first."""
        return self.causes[1].weight < LEADING_WEIGHT

    @property
    def deciding(self) -> Measurement | None:
        """The measurement to make; None where one cause stands alone, or none here tells the leading ones apart."""
        if self.usual or self.alone:
            return None
        return next((one for one in self.measurements[:1] if one.decides), None)


def dark(household: Household, supply: Supply, seen: Seen) -> Dark:
    """Find why a supply went dark.

    Raises
    ------
    InputError
        If the pack volts cannot be those of this bank.
    Unreachable
        If several banks share the bus.
    """
    check_volts(supply.bank, supply.inverter, seen)
    if said := clash_sentence(supply.banks, supply.inverter):
        raise Unreachable(said)
    if supply.beside:
        raise Unreachable(
            f"Why it went dark is worked out for one bank on an inverter; {supply.name} share one bus, and which of "
            "them ended first cannot be told from one charge and one load."
        )
    found_night = night(household, supply, seen)
    found = causes(found_night)
    scored = [_scored(found_night, cause) for cause in found]
    weights = shares_of([weight for weight, _ in scored])
    order = sorted(range(len(found)), key=lambda place: -weights[place])
    leading = _leading([(found[place].code, weights[place]) for place in order])
    truths = {found[place].code: scored[place][1] for place in order if found[place].code in leading}
    base = found_night.goes_dark(found_night.power_w)
    shown = found_night.loaded(seen.soc, found_night.power_w)
    return Dark(
        seen=seen,
        bank_id=supply.bank.id,
        name=supply.name,
        causes=tuple(_found(found_night, found[place], weights[place], scored[place][1]) for place in order),
        leading=leading,
        measurements=measurements(
            found_night, truths, {found[place].code: weights[place] for place in order if found[place].code in leading}
        ),
        expected_soc=base.soc,
        expected_limit=base.limit,
        expected_v=found_night.bank.series * (shown.ocv_v - shown.sag_v),
        start_at=found_night.start_at,
        start_soc=found_night.start_soc,
        night_h=found_night.hours,
        cut_v=cutoff_cell_v(supply.bank, supply.inverter) * supply.bank.series,
        load_w=found_night.power_w,
        charge_min_c=supply.bank.charge_min_c,
        notices=dark_notices(household, supply, seen, found_night.start_at),
        worked=dark_worked(found_night, base),
        assumptions=dark_assumptions(household, supply),
    )


def _leading(ranked: Sequence[tuple[str, float]]) -> tuple[str, ...]:
    """The likeliest, never fewer than two, so that a measurement can be named."""
    return tuple(
        code for place, (code, weight) in enumerate(ranked[:MOST_LEADING]) if place < 2 or weight >= LEADING_WEIGHT
    )


def _scored(night_of: Night, cause: Cause) -> tuple[float, tuple[Truth, ...]]:
    """Logarithm of a cause's weight, and what may be so under it, with chances that add up to 1.

    Logarithms keep apart what fits badly: far from what was seen the chances themselves are too small for a number.
    """
    seen, grid = night_of.seen, cause.grid
    if cause.trips:
        fit, place = np.array([float(grid.mass[0])]), np.zeros(1)
    else:
        fit, place = fits(grid, seen.soc)
    rows = [(float(f), float(at)) for f, at in zip(fit, place, strict=True) if f > KEPT_CHANCE * float(fit.max())]
    weighed = []
    for value, at in rows:
        truth = _truth(cause, at, 0.0, seen.soc)
        far = _drop_misfit(night_of, cause, at) ** 2 + volts_misfit(night_of, truth) ** 2
        weighed.append((log(value) - 0.5 * far, at))
    if not weighed:
        return -inf, (_truth(cause, float(place[int(np.argmax(fit))]), 1.0, seen.soc),)
    total = float(np.logaddexp.reduce([value for value, _ in weighed]))
    kept = [(exp(value - total), at) for value, at in weighed]
    truths = tuple(_truth(cause, at, chance, seen.soc) for chance, at in kept if chance > KEPT_CHANCE)
    return log(cause.odds) + total + log(_told_fit(night_of, cause)), truths


def _truth(cause: Cause, place: float, chance: float, shown_soc: float) -> Truth:
    grid = cause.grid
    body = Body(
        cell_c=grid.at("cell_c", place), resistance=grid.at("resistance", place), capacity=grid.at("capacity", place)
    )
    return Truth(
        chance=chance,
        true_soc=grid.true_at(place, shown_soc),
        body=body,
        hidden_w=grid.at("hidden_w", place),
        short_soc=grid.at("short_soc", place),
        trips=cause.trips,
    )


def drop_error(night_of: Night) -> float:
    """Standard error of the points that the loads take from the evening to the dark [-]."""
    share = DROP_LOADS_SHARE if night_of.seen.evening_w is None else DROP_TOLD_SHARE
    return sqrt(DROP_ERROR_SOC**2 + (share * night_of.expected_drop) ** 2)


def _drop_misfit(night_of: Night, cause: Cause, place: float) -> float:
    """Standard errors between what the monitor counted from the evening on and the loads; 0 where nobody read it."""
    seen = night_of.seen
    if seen.evening_soc is None:
        return 0.0
    expected = night_of.expected_drop
    if cause.drop_soc is not None:
        expected = float(np.interp(place, np.arange(cause.drop_soc.size), cause.drop_soc))
    return (seen.evening_soc - seen.soc - expected) / drop_error(night_of)


def _told_fit(night_of: Night, cause: Cause) -> float:
    """How well what was found fits the limit that ended it; a weak cell may also open the board."""
    told = night_of.seen.told
    if not told:
        return 1.0
    limit = {"current": "board", "cold": "board"}.get(cause.limit, cause.limit)
    chance = _FOUND[limit][told]
    if cause.code == "weak" and night_of.bank.board is not None:
        chance = 0.5 * (chance + _FOUND["board"][told])
    return chance


def _found(night_of: Night, cause: Cause, weight: float, truths: Sequence[Truth]) -> CauseFound:
    """A cause with the value it needs, and the night run again with it.

    How far the volts are off, and the points counted since the evening, speaks against it as it does in its weight.
    """
    seen, grid = night_of.seen, cause.grid
    most = float(grid.shown_soc[-1])
    place = _needed(night_of, cause)
    if cause.trips or grid.values.size == 1:
        misfit = 0.0 if cause.trips else abs(seen.soc - most) / READING_SOC
        chance: float | None = float(grid.mass[0]) if cause.trips else 2.0 * above(misfit)
    else:
        misfit = 0.0 if place is None else _misfit(grid, place, seen.soc)
        chance = None if place is None else tail(grid, place)
    misfit = max(misfit, min(abs(volts_misfit(night_of, one)) for one in truths))
    if place is not None:
        misfit = max(misfit, abs(_drop_misfit(night_of, cause, place)))
    truth = None if place is None else _truth(cause, place, 1.0, seen.soc)
    return CauseFound(
        code=cause.code,
        weight=weight,
        fits=verdict(chance, misfit),
        needed=None if place is None else grid.at("values", place),
        most_soc=most,
        true_soc=None if truth is None else truth.true_soc,
        limit=cause.limit,
        rerun=None if truth is None or cause.trips or _too_cold(night_of, truth) else _rerun(night_of, cause, truth),
    )


def _too_cold(night_of: Night, truth: Truth) -> bool:
    """Whether the cells would give no current at all: the evening then ran on warmer ones."""
    return night_of.goes_dark(night_of.power_w, truth.body).limit == TOO_COLD


def _misfit(grid: Grid, place: float, shown_soc: float) -> float:
    """Standard errors between the charge shown and what the monitor may have shown at a row."""
    low, high = grid.at("least_shown_soc", place), grid.at("shown_soc", place)
    return max(low - shown_soc, shown_soc - high, 0.0) / READING_SOC


def _needed(night_of: Night, cause: Cause) -> float | None:
    """Row of the grid that makes the night what was seen."""
    if cause.trips or cause.grid.values.size == 1:
        return 0.0
    if cause.drop_soc is None:
        place = needed(cause.grid, night_of.seen.soc, cause.usual)
        return None if place is None else cause.refined(place, night_of.seen.soc)
    assert night_of.seen.evening_soc is not None
    counted = night_of.seen.evening_soc - night_of.seen.soc
    reached = np.flatnonzero(cause.drop_soc >= counted)
    if not reached.size:
        return None
    k = int(reached[0])
    low = float(cause.drop_soc[max(k - 1, 0)])
    return 0.0 if k == 0 else k - 1 + (counted - low) / (float(cause.drop_soc[k]) - low)


def _rerun(night_of: Night, cause: Cause, truth: Truth) -> Rerun:
    """The night from the charge that was really in the cells in the evening."""
    start = night_of.start_soc
    if cause.code == EMPTY:
        return night_of.rerun(start, night_of.told_body)
    if truth.body.capacity < 1.0:
        return night_of.rerun(1.0 - (1.0 - start) / truth.body.capacity, truth.body)
    start -= night_of.seen.soc - truth.true_soc
    if cause.code == IDLE or not truth.hidden_w:
        return night_of.rerun(start, truth.body)
    return night_of.rerun(start + night_of.points_of(truth.hidden_w, night_of.hours), truth.body, truth.hidden_w)
