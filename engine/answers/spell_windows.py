"""The worst days in a row as rows of one kind: made for the place, out of the owner’s file, or measured elsewhere.

kWh are DC of all panels, before the solar charger, a mean of the window's days. A made window is the worst of its
year by kWh, on its own days. A measured one is the dullest by clearness, whatever its month: it is laid on the month
in which these panels get least, which is the careful side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.own_spells import own_kc
from engine.sky.site import OwnSpell, Site, Sun
from engine.sky.spells import RISK_YEARS, Spell, SpellTable
from engine.sky.sun import yield_kwh
from engine.text.dates import written_date

MADE, FILE = "made", "file"


@dataclass(frozen=True, slots=True, kw_only=True)
class SpellRow:
    """The worst days of 1 year in so many.

    Attributes
    ----------
    kc : float
        Mean clearness of the days that are dullest by it [-]; in made years these need not be the window of least kWh.
    kwh : float or None
        Mean of all panels [kWh a day]; None without panels.
    month : int
        On whose sun its days are laid, 1 to 12.
    came_month : int
        In which the window came.
    sky : str
        How the pages that ask are told of these days.
    source : str
        Where the window is from, in words.
    years : int
        Years behind it; 0 where they are many but not counted here.
    day_kc, after_kc : tuple of float
        Clearness of its days, in order, and of the days after them as far as they are known.
    """

    days: int
    risk_years: int
    kc: float
    kwh: float | None
    month: int
    came_month: int
    sky: str
    source: str
    years: int
    day_kc: tuple[float, ...]
    after_kc: tuple[float, ...]
    shape_borrowed: bool = False

    @property
    def window_kc(self) -> float:
        """Mean clearness of its own days [-]."""
        return float(np.mean(self.day_kc))


def made_rows(table: SpellTable, clearness: SpellTable, month: int) -> tuple[SpellRow, ...]:
    """Return the windows of the made years, from their spells by kWh (by kc without panels) and those by kc.

    Windows that give nothing at all are alike wherever they lie: they are told of `month`.
    """
    return tuple(
        _made_row(table, spell, dullest.mean, spell.window.month if spell.mean > 0.0 else month)
        for spell, dullest in zip(table.spells, clearness.spells, strict=True)
    )


def _made_row(table: SpellTable, spell: Spell, kc: float, month: int) -> SpellRow:
    return SpellRow(
        days=spell.days,
        risk_years=spell.risk_years,
        kc=kc,
        kwh=spell.mean if table.quantity == "kwh" else None,
        month=month,
        came_month=spell.window.month,
        sky=f"made_{spell.days}d_1in{spell.risk_years}",
        source=table.title,
        years=table.years,
        day_kc=spell.window.kc,
        after_kc=spell.window.after_kc,
    )


def own_rows(site: Site, sun: Sun, month: int) -> tuple[SpellRow, ...]:
    """Return the windows out of the owner's own file, laid on a month."""
    return tuple(_own_row(site, sun, spell, month) for spell in sun.spells)


def _own_row(site: Site, sun: Sun, spell: OwnSpell, month: int) -> SpellRow:
    kc, after_kc = own_kc(site, sun, spell, month)
    return SpellRow(
        days=len(kc),
        risk_years=_risk_of(spell.id),
        kc=float(np.mean(kc)),
        kwh=_laid_kwh(site, sun, kc, month),
        month=month,
        came_month=spell.month,
        sky=spell.id,
        source=f"your file {sun.sky_file}".strip(),
        years=spell.years,
        day_kc=kc,
        after_kc=after_kc,
    )


def measured_rows(site: Site, sun: Sun, climate: str, month: int) -> tuple[SpellRow, ...]:
    """Return the windows measured at the stations of a climate, laid on a month."""
    return tuple(
        SpellRow(
            days=preset.days,
            risk_years=_risk_of(preset.id),
            kc=float(np.mean(preset.kc)),
            kwh=_laid_kwh(site, sun, preset.kc, month),
            month=month,
            came_month=preset.month_at(south=site.south),
            sky=preset.id,
            source=f"{preset.station}, ended {written_date(preset.end)}",
            years=0,
            day_kc=preset.kc,
            after_kc=preset.next4,
            shape_borrowed=preset.shape_borrowed,
        )
        for preset in climates.presets().values()
        if preset.climate == climate
    )


def _risk_of(spell_id: str) -> int:
    """The risk that the id of a spell ends with."""
    return next(risk for risk in RISK_YEARS if spell_id.endswith(f"_1in{risk}"))


def _laid_kwh(site: Site, sun: Sun, kc: Sequence[float], month: int) -> float | None:
    """What these panels give a day under the days of a window, on the average day of a month."""
    if not sun.arrays:
        return None
    return float(yield_kwh(site, sun, kc, np.full(len(kc), mean_day_of_year(month))).mean())
