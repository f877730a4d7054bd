"""What the answer of Sky now is made of.

Energies are kWh of the panels before their solar charger; hours of a day are means [W] of local standard time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Assumption, Notice, Worked
from engine.sky.reading import SkyReading

Floats = NDArray[np.float64]

FULL_WITHIN_SOC = 0.005
"""A bank this close to where its charging ends takes less than the panels could give (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """One display: what it shows, and what it would show under a clear sky and under the one that was found [W]."""

    name: str
    shown_w: float
    clear_w: float
    found_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Alone:
    """One of several displays that contradict each other: what it shows [W] and the sky that it alone tells.

    `bound` is empty, ``least`` or ``most``: the sky is at least or at most so bright.
    """

    name: str
    shown_w: float
    kc: float
    bound: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """What the panels would show now under a sky, all and by array [W], and give in the rest of the day if it stays so.

    `word` is dark, dull, half or bright; `own` says that its kc follows from the household's own dull day.
    """

    word: str
    own: bool
    kc: float
    total_w: float
    array_w: tuple[float, ...]
    rest_kwh: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """Energy of a stretch of today: what is likely, and the ends of the range [kWh]."""

    kwh: float
    low_kwh: float
    high_kwh: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DayHours:
    """All panels in each hour of today, (24,) [W].

    `now_w` at the sky of now until the hour of the reading, then as is likely; `low_w` and `high_w` then go on at the
    ends of the range; `assumed_w` is the day as it was assumed.
    """

    now_w: Floats
    low_w: Floats
    high_w: Floats
    assumed_w: Floats | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BankGain:
    """Hours of one bank as assumed before and with the sky of now in the place of today's."""

    bank_id: str
    name: str
    start_soc: float
    from_full: bool
    before_h: float | None
    after_h: float | None
    after_low_h: float | None
    after_high_h: float | None
    gained_h: float | None
    before_ends_at: datetime | None
    after_ends_at: datetime | None
    widened: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What follows from a reading: today's energy, and the hours gained or lost by each bank.

    `kind` is grey, veiled or sunny. `rest` is the middle of what came after such hours, with what eight of ten stayed
    within; `rest_unchanged_kwh` is what the sky of now gives if it stays as it is. `so_far_kwh` is what a counter told,
    else what this sky would have given until now; `so_far_kc` the sky that a counter tells of the hours until now.
    `assumed_kc` is None once today's sun is over. `day_sky` is the days as Today reads them, `days` the same with their
    dates and words.
    """

    reading: SkyReading
    kind: str
    displays: tuple[Display, ...]
    rest: Expected
    rest_unchanged_kwh: float
    so_far_kwh: float
    so_far_counted: bool
    so_far_kc: float | None
    today: Expected
    assumed_kc: float | None
    assumed_word: str
    assumed_rest_kwh: float | None
    hours: DayHours
    day_sky: str
    days: tuple[tuple[date, str, float], ...]
    banks: tuple[BankGain, ...]
    no_hours: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SkyNow:
    """The answer; `found` is None where nothing was typed, the sun stands too low, or displays contradict each other.

    `apart` then has what each of those tells.
    """

    at: datetime
    height_deg: float
    readable_from: datetime | None
    readable_to: datetime | None
    found: Found | None
    apart: tuple[Alone, ...]
    what_if: tuple[WhatIf, ...]
    clear_w: Floats
    clear_day_kwh: float
    average_day_kwh: float
    notices: tuple[Notice, ...]
    worked: tuple[Worked, ...]
    assumptions: tuple[Assumption, ...]
