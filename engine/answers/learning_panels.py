"""How strong the panels are by a sky that another source knows day by day.

Each day's kWh are laid beside what the panels as described would give under the sky of that day, so that weather and
panels part. Days on which a full bank may have held the panels back are left out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from engine.answers.learning_fulls import Counted
from engine.answers.learning_parts import DRAWS, METER_SHARE, SEED, Change, Evidence, Floats, Lesson, Missing, together
from engine.answers.learning_sun import STRETCH, effect_of, held_days, said_of, series_of, why_not
from engine.sky import climate as climates
from engine.sky.log import log_of
from engine.sky.series import KcSeries, dates_of, days_of_year
from engine.sky.sun import yield_kwh

PANELS, TITLE = "panels", "Strength of the panels, by a sun record"
LEAST_SKY_DAYS = 30
"""Days known of both sky and panels (judgement)."""
_WIDEST_SHARE = 0.15
_SKY_SHARE = 0.03
"""A measured kc and the light model together may be wrong by so much over many days, 95 % (judgement)."""


def _middle(parts: Floats) -> float:
    """What half of the light came on days of less than, of given over modelled; (days, 2) kWh.

    The middle, not the mean: a month of shade or snow moves it little.
    """
    lit = parts[parts[:, 1] > 0.0]
    share = lit[:, 0] / lit[:, 1]
    order = np.argsort(share)
    light = np.cumsum(lit[order, 1])
    return float(share[order][np.searchsorted(light, 0.5 * light[-1])])


def _half(parts: Floats) -> float:
    """Half the interval that chance leaves of the middle, by drawing stretches of four weeks again."""
    stretches = [parts[k : k + STRETCH] for k in range(0, parts.shape[0], STRETCH)]
    stretches = [one for one in stretches if (one[:, 1] > 0.0).any()]
    chance = np.random.default_rng(SEED)
    picks = chance.integers(0, len(stretches), (DRAWS // 2, len(stretches)))
    return float(1.96 * np.std([_middle(np.concatenate([stretches[k] for k in pick])) for pick in picks], ddof=1))


def panel_lesson(e: Evidence, found: Counted | None, kc: KcSeries) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    """Return the strength of the panels under a known sky, or why it is not told."""
    if why := why_not(e):
        return (), (Missing(id=PANELS, title=TITLE, text=why),)
    series, full = series_of(e), held_days(e, found)
    offset = (np.datetime64(series.first, "D") - np.datetime64(kc.first, "D")).astype(int)
    index = np.arange(series.values.size) + int(offset)
    inside = (index >= 0) & (index < kc.kc.size)
    sky = np.where(inside, kc.kc[np.clip(index, 0, kc.kc.size - 1)], np.nan)
    site, plain = e.household.site, replace(e.household.sun, clear_day_kwh=None, clear_day_month=None)
    dates = dates_of(series.first, series.values.size)
    log = log_of(series, site, e.household.sun)
    fit = np.isfinite(sky) & log.lit & (~full if full is not None else True)
    if fit.sum() < LEAST_SKY_DAYS:
        text = f"{int(fit.sum())} days are known of both sky and panels; it takes {LEAST_SKY_DAYS}."
        return (), (Missing(id=PANELS, title=TITLE, text=text),)
    doy = days_of_year(dates)
    model = np.zeros(fit.size)
    model[fit] = yield_kwh(site, plain, sky[fit], doy[fit])
    parts = np.stack([np.where(fit, series.values, 0.0), model], axis=1)
    share = _middle(parts)
    half = together(_half(parts), METER_SHARE * share, _SKY_SHARE * share)
    if half > _WIDEST_SHARE * share:
        text = (
            f"{int(fit.sum())} days give {share:.2f} times what they should, but {half / share * 100:.0f} % are open."
        )
        return (), (Missing(id=PANELS, title=TITLE, text=text),)
    month = int(np.argmax(log.clear_by_month_kwh)) + 1
    clear = log.clear_by_month_kwh[month - 1]
    used = float(f"{share * clear:.3g}")
    fields: dict[str, float | int] = {"clear_day_kwh": used, "clear_day_month": month}
    lesson = Lesson(
        id=PANELS,
        title=TITLE,
        text=f"Under the skies of “{kc.title}” the panels gave {share:.2f} times what they should: a clear day in "
        f"{climates.MONTH_NAMES[month - 1]} is {used:g} kWh.",
        value=used,
        low=(share - half) * clear,
        high=(share + half) * clear,
        unit="kWh",
        days=int(fit.sum()),
        how="The kWh of each day on which the bank was not full, over what the panels as described would give "
        "under the sky of the same days. The middle of the days counts. The interval is from drawing stretches of "
        "four weeks again, a meter that may be 1 % wrong, "
        "and a sky and light model that may be 3 % wrong (judgement).",
        caveats=(said_of(e),),
        changes=(Change(part="sun", id="", fields=fields),),
        now=None if e.household.sun.clear_day_month is None else e.household.sun.clear_day_kwh,
        effect=effect_of(e, replace(e.household.sun, **fields)),  # type: ignore[arg-type]
    )
    return (lesson,), ()
