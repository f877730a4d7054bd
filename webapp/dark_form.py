"""The form of a dark night: its fields, what was typed into what was seen, and back.

Moments are typed on the household's clock; the engine takes local standard time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from engine.answers.dark_seen import AFTER, BEFORE, BOARD, LOW, NOTHING, OVERLOAD, Seen
from engine.errors import InputError
from engine.fields import quantities
from engine.house.household import Supply
from engine.sky.site import Site
from webapp.forms import Field, Values, number_field, number_fields, shown_text_of
from webapp.questions import bank_field, read_moment, to_civil, to_standard
from webapp.units import with_24_hours

NEEDED = ("at", "soc", "load_w")
"""Without these there is nothing to ask."""
_MOMENTS = {"at": "Went dark at", "evening_at": "Evening’s charge read at", "full_at": "Last showed full"}
_CLOCK_ONLY = 5
"""Letters of a time without a day."""
_MINUTES = "%Y-%m-%d %H:%M"
_WHEN = ((BEFORE, "just before, under the load"), (AFTER, "some minutes after, nothing on"))
_FOUND = (
    ("", "I do not know"),
    (LOW, "the inverter said low volts"),
    (BOARD, "the board had opened"),
    (OVERLOAD, "the inverter said overload"),
    (NOTHING, "nothing was shown at all"),
)


def dark_fields(supplies: Sequence[Supply], bank_id: str, now: datetime) -> tuple[tuple[Field, ...], tuple[Field, ...]]:
    """Return the fields that are asked for and those that help if they are remembered.

    Parameters
    ----------
    bank_id : str
        The bank asked about, whose temperature stands in its field; the first where none is so called.
    now : datetime
        On the household's clock, for the example of a moment.
    """
    asked = next((one for one in supplies if one.bank.id == bank_id), supplies[0])
    example = f"{now - timedelta(days=1):%Y-%m-%d} 23:40"
    at = _moment_field("at", f"A time such as 23:40, of the last night, or {example}", optional=False)
    numbers = {one.name: one for one in number_fields(Seen)}
    cells = number_field("cell_c", quantities(Seen)["cell_c"], default=float(asked.bank.cell_c))
    return (
        (*(bank_field(supplies) if len(supplies) > 1 else ()), at, numbers["soc"], numbers["load_w"], cells),
        (
            numbers["evening_w"],
            _moment_field("evening_at", "A time before that, such as 18:00", optional=True),
            numbers["evening_soc"],
            _moment_field("full_at", f"A day or a moment, such as {now - timedelta(days=3):%Y-%m-%d}", optional=True),
            numbers["volts_v"],
            Field(name="volts_when", label="Pack volts read", kind="choice", choices=_WHEN, default=BEFORE),
            Field(name="told", label="What you found", kind="choice", choices=_FOUND),
        ),
    )


def seen_of(values: Values, site: Site, now: datetime) -> Seen:
    """Return what was seen.

    Parameters
    ----------
    now : datetime
        On the household's clock, aware.

    Raises
    ------
    InputError
        On the field that cannot be.
    """
    at = _moment("at", values["at"], now)
    assert at is not None
    moments = {name: _moment(name, values[name], at) for name in ("evening_at", "full_at")}
    typed: Values = {name: values[name] for name in (*quantities(Seen), "volts_when", "told")}
    typed |= {name: None if moment is None else to_standard(site, moment) for name, moment in moments.items()}
    return Seen(at=to_standard(site, at), **typed)


def asked_from(seen: Seen, site: Site, bank_id: str = "") -> dict[str, str]:
    """Return the query that asks about a night: for an example, or from what a log holds of it.

    Parameters
    ----------
    seen : Seen
        In local standard time.
    """
    meanings = quantities(Seen)
    found: dict[str, Any] = {name: shown_text_of(getattr(seen, name), meaning) for name, meaning in meanings.items()}
    for name in _MOMENTS:
        moment = getattr(seen, name)
        found[name] = "" if moment is None else f"{to_civil(site, moment):{_MINUTES}}"
    found |= {"volts_when": seen.volts_when if seen.volts_v is not None else "", "told": seen.told, "bank": bank_id}
    return {name: text for name, text in found.items() if text}


def nothing_asked(typed: Mapping[str, str]) -> bool:
    """Whether none of what is needed was typed."""
    return not any(typed.get(name, "").strip() for name in NEEDED)


def _moment_field(name: str, hint: str, *, optional: bool) -> Field:
    return Field(name=name, label=_MOMENTS[name], kind="text", hint=hint, optional=optional)


def _moment(name: str, text: str, latest: datetime) -> datetime | None:
    """Read a moment up to `latest`; a time without a day is the last such before it."""
    typed = text.strip()
    if not typed:
        return None
    label = _MOMENTS[name]
    try:
        found = read_moment(typed, latest, label)
    except InputError as fault:
        raise InputError(name, fault.message) from None
    if found > latest and len(with_24_hours(typed)) <= _CLOCK_ONLY:
        found -= timedelta(days=1)
    if found > latest:
        raise InputError(name, f"{label} must not be later than {latest:{_MINUTES}}; got {found:{_MINUTES}}.")
    return found
