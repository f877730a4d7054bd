"""How dull the spells of a household's own log are for its panels as they are described now.

What was measured is kWh; what is kept is kc, read by the panels as described then. If their clear day is typed or taken
since, or the panels are described as stronger, the kc is lowered so that a spell promises what was measured and no
more. Panels described as weaker give less in it. kWh are DC, chargers left out. Not modelled: that panels were really
added since the log; its spells then stay as low as the old panels gave.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.series import Floats
from engine.sky.site import OwnSpell, Site, Sun
from engine.sky.sun import clear_day_scale, yield_kwh

_SKIES = np.linspace(0.0, climates.KC_MAX, 56)
_CLEAR = 1.0


def read_by(spells: tuple[OwnSpell, ...], site: Site, panels: Sun) -> tuple[OwnSpell, ...]:
    """Return the spells of a log with what the panels were by which it was read.

    Parameters
    ----------
    panels : Sun
        Of `own.as_strong_as`.
    """
    return tuple(
        replace(
            spell,
            log_strength=round(clear_day_scale(site, panels, spell.month), 4),
            log_clear_kwh=round(_clear_kwh(site, panels, spell.month), 4) or None,
        )
        for spell in spells
    )


def own_kc(site: Site, sun: Sun, spell: OwnSpell, month: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the kc of a spell and of the days after it, for these panels.

    Spells of radiation are as they are: they say nothing of panels.

    Parameters
    ----------
    month : int
        Month it is laid on: its sun decides which sky gives what was measured.

    Raises
    ------
    InputError
        If the owner's clear day cannot be reached.
    """
    if spell.log_strength is None or spell.log_clear_kwh is None or not sun.arrays:
        return spell.kc, spell.after_kc
    described = _clear_kwh(site, sun, spell.month)
    grown = min(1.0, spell.log_clear_kwh / described) if described > 0.0 else 1.0
    share = grown * spell.log_strength / clear_day_scale(site, sun, month)
    given = _given_kwh(site, _bare(sun), month)
    if not given[-1] > 0.0:
        return spell.kc, spell.after_kc

    def now(kc: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(np.interp(share * np.interp(kc, _SKIES, given), given, _SKIES).tolist())

    return now(spell.kc), now(spell.after_kc)


def _clear_kwh(site: Site, sun: Sun, month: int) -> float:
    """What the panels give on a clear day of a month as described, without the owner's clear day and any charger."""
    return float(np.interp(_CLEAR, _SKIES, _given_kwh(site, _bare(sun), month)))


def _bare(sun: Sun) -> Sun:
    arrays = tuple(replace(array, charger_limit_w=None, start_w=0.0) for array in sun.arrays)
    return Sun(arrays=arrays, system_losses=sun.system_losses)


@lru_cache(maxsize=64)
def _given_kwh(site: Site, bare: Sun, month: int) -> Floats:
    given = yield_kwh(site, bare, _SKIES, np.full(_SKIES.size, mean_day_of_year(month)))
    return np.maximum.accumulate(given)
