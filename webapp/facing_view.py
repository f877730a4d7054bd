"""What tilt and direction are worth on a dull day and on a clear one, in words, a chart and tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.answers.spells import Spells
from engine.sky.facing import SOUTH_DEG, Facing
from webapp.chart_parts import Figure
from webapp.render import figures, fixed, percent
from webapp.spells_charts import Rows, styled, table_rows, tilts
from webapp.words import MONTHS

LEAST_GAIN_SHARE = 0.05
"""A gain below this is told as hardly any (judgement)."""
LEAST_LOSS_SHARE = 0.02
"""A loss below this is told as none (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FacingView:
    """Tilt and direction as the page shows them; `own_rows` are the household's panels."""

    sentence: str
    heads: tuple[str, ...]
    figure: Figure
    rows: Rows
    own_rows: Rows


def facing_view(answer: Spells) -> FacingView:
    """Return the view of what an answer says of tilt and direction."""
    heads, columns, tilts_deg = _facing_columns(answer)
    lines = styled(heads, tilts_deg, columns)
    return FacingView(
        sentence=facing_sentence(answer),
        heads=heads,
        figure=tilts(lines),
        rows=table_rows(lines, lambda tilt: f"{tilt:g}°", 0),
        own_rows=_own_rows(answer),
    )


def _facing_columns(answer: Spells) -> tuple[tuple[str, ...], list[list[float]], list[float]]:
    toward, sunward, sideward = _sides(answer)
    columns = []
    for kwh in (_clear, _dull):
        best = max(kwh(one) for one in answer.facing)
        columns += [[100.0 * kwh(one) / best if best else 0.0 for one in group] for group in (sunward, sideward)]
    heads = (f"clear, {toward}", "clear, east", f"dull, {toward}", "dull, east")
    return heads, columns, [one.tilt_deg for one in sunward]


def _sides(answer: Spells) -> tuple[str, list[Facing], list[Facing]]:
    """The side the sun stands on that month, which near the equator may be the pole's, and the side beside it."""
    equatorward, sideward, poleward = _by_direction(answer.facing)
    sunward = max((equatorward, poleward), key=lambda group: max(_clear(one) for one in group))
    return "south" if sunward[0].azimuth_deg == SOUTH_DEG else "north", sunward, sideward


def _by_direction(facing: Sequence[Facing]) -> list[list[Facing]]:
    return [
        [one for one in facing if one.azimuth_deg == azimuth]
        for azimuth in dict.fromkeys(one.azimuth_deg for one in facing)
    ]


def _clear(one: Facing) -> float:
    return one.clear_kwh_per_kwp


def _dull(one: Facing) -> float:
    return one.dull_kwh_per_kwp


def facing_sentence(answer: Spells) -> str:
    """Say what tilt and direction are worth on a clear and on a dull day of the month."""
    month = MONTHS[answer.asked.month - 1]
    toward, sunward, sideward = _sides(answer)
    flat = answer.facing[0]
    if not flat.clear_kwh_per_kwp:
        return f"In {month} the sun does not rise here: no tilt and no direction gives anything."
    steep = max(range(len(sunward)), key=lambda row: sunward[row].clear_kwh_per_kwp)
    clear_best, dull_best = sunward[steep], max(answer.facing, key=_dull)
    gain = clear_best.clear_kwh_per_kwp / flat.clear_kwh_per_kwp
    if clear_best.tilt_deg:
        times = f"{figures(gain)} times what" if gain >= 1.0 + LEAST_GAIN_SHARE else "hardly more than"
        clear = (
            f"On a clear {month} day panels at {clear_best.tilt_deg:g}° to the {toward} give {times} flat ones give."
        )
    else:
        clear = f"On a clear {month} day flat panels give most."
    if not clear_best.dull_kwh_per_kwp:
        return f"{clear} On a day as dull as these they give nothing: it is too dark for the solar charger to start."
    lost = 1.0 - clear_best.dull_kwh_per_kwp / dull_best.dull_kwh_per_kwp
    aside = 1.0 - sideward[steep].dull_kwh_per_kwp / clear_best.dull_kwh_per_kwp
    told = (
        f"{_at(dull_best)} give most and {_at(clear_best)} {percent(lost)} less"
        if lost >= LEAST_LOSS_SHARE
        else "they give as much as any"
    )
    turned = f"turned to the east or west they lose {percent(aside)} more"
    if aside < LEAST_LOSS_SHARE:
        turned = "it does not matter which way they are turned"
    return f"{clear} On a day as dull as these {told}; {turned}."


def _at(one: Facing) -> str:
    return f"those at {one.tilt_deg:g}°" if one.tilt_deg else "flat ones"


def _own_rows(answer: Spells) -> Rows:
    return tuple(
        (
            one.name,
            (
                f"{one.tilt_deg:g}°",
                f"{one.azimuth_deg:g}°",
                fixed(one.clear_kwh_per_kwp, 2),
                fixed(one.dull_kwh_per_kwp, 2),
            ),
        )
        for one in answer.own_facing
    )
