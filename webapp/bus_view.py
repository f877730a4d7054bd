"""Banks that share one DC bus, in words: who carries what, who sits idle, and what the narrower window costs."""

from __future__ import annotations

from datetime import datetime

from engine.answers.bus_parts import BusPart
from webapp.render import percent
from webapp.words import energy, in_sentence, stamp

LEAST_FORGONE_KWH = 0.05
"""Less than this is not said."""


def bus_sentences(parts: tuple[BusPart, ...], ends_at: datetime | None) -> tuple[str, ...]:
    """Say which bank carries most, which sits idle or is empty first, and what stays out of reach."""
    if not parts:
        return ()
    most = max(parts, key=lambda part: part.given_share)
    said = []
    if most.given_kwh > 0.0:
        said.append(f"{_capital(most.name)} carries {percent(most.given_share)} of what the banks give.")
    for part in parts:
        if part.sits_idle:
            said.append(f"{_capital(part.name)} sits idle: at these volts the others carry the load.")
        if part.at_floor_at is not None and part.at_floor_at != ends_at:
            said.append(
                f"{_capital(part.name)} is at its reserve {stamp(part.at_floor_at)}; the rest go on without it, if its "
                "own disconnect then takes it off."
            )
        if part.forgone_kwh >= LEAST_FORGONE_KWH:
            said.append(
                f"The bus fills {in_sentence(part.name)} to {percent(part.top_soc)} instead of "
                f"{percent(part.alone_soc)}: {energy(part.forgone_kwh)} less."
            )
    return tuple(said)


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]
