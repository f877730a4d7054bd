"""What was typed in a page that was shown in other units than the household has now, as it would be typed now.

A form that is kept says in which units it was shown (`render.shown_in`): another tab may have changed them since, and
“12” typed at °C is not “12” at °F. Of each field that has a quantity the number is read in the units it was typed in
and written in those of now.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields

from engine.errors import InputError
from engine.house.units import Units
from webapp.forms import Field, parse, shown_text_of
from webapp.render import SHOWN_IN
from webapp.units import WISHED, Wished, chosen


def as_typed_now(wanted: Iterable[Field], sent: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """Turn what a form sent into the units of now.

    Parameters
    ----------
    wanted : iterable of Field
        The fields of the form.
    sent : mapping
        What was sent; without `SHOWN_IN`, or in the units of now, it stays as it is.

    Returns
    -------
    tuple
        What was sent, and by field why a text cannot be turned: it stays as typed, and is to be typed anew.
    """
    then = _units_of(sent.get(SHOWN_IN, ""))
    if then is None or then == chosen():
        return dict(sent), {}
    found, unread = dict(sent), {}
    for one in wanted:
        if one.kind != "number" or not sent.get(one.name, "").strip():
            continue
        with _typed_in(then):
            read = parse((one,), sent, build=lambda values: values)
        if read.value is None:
            unread[one.name] = (
                f"“{sent[one.name].strip()}” was typed while this page showed other units, and could not be read in "
                "those: type it anew."
            )
        else:
            found[one.name] = shown_text_of(read.value[one.name], one.quantity)
    return found, unread


@contextmanager
def _typed_in(units: Units) -> Iterator[None]:
    token = WISHED.set(Wished(lambda: units))
    try:
        yield
    finally:
        WISHED.reset(token)


def _units_of(text: str) -> Units | None:
    """Read what `render.shown_in` wrote; None where it is none."""
    names, choices = [one.name for one in fields(Units)], text.split(",")
    if len(names) != len(choices):
        return None
    try:
        return Units(**dict(zip(names, choices, strict=True)))
    except InputError:
        return None
