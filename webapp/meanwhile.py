"""What another device saved while a form was open: both values of each field side by side, and what else changed.

Shown with a save that was refused; nothing is lost either way. Kept is what the person chooses: the form again, on top
of the newer version, or the page as it stands now.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from engine.answers.changes import changes
from engine.errors import InputError
from webapp.forms import Card, Field
from webapp.households import household_of
from webapp.numbers import whole
from webapp.store import Saved, Store

SHOWN = 12
"""Other changes that are listed, at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meanwhile:
    """The two sides of a refused save.

    `rows` are label, the text that was typed and the text that is saved now, of each field that differs; `others` what
    else changed since the form was opened; `form` the id of the form to send again, `path` the page as it stands.
    """

    what: str
    rows: tuple[tuple[str, str, str], ...]
    others: tuple[str, ...]
    form: str
    path: str


def meanwhile(
    store: Store, newer: Saved, sent: Mapping[str, str], typed: Card, stands: Card, path: str
) -> Meanwhile | None:
    """Hold a form as it was typed against the same form as it stands now; None where it is of another household.

    Parameters
    ----------
    newer : Saved
        The version that stands.
    typed, stands : Card
        The form with what was sent, and filled from `newer`.
    """
    if whole(sent.get("household", "")) not in (None, newer.household_id):
        return None
    pairs = ((one, _shown(one, typed), _shown(one, stands)) for one in typed.fields if one.kind != "hidden")
    return Meanwhile(
        what=newer.what,
        rows=tuple((one.caption, mine, theirs) for one, mine, theirs in pairs if mine != theirs),
        others=_since(store, newer, whole(sent.get("revision", ""))),
        form=f"{typed.prefix}form",
        path=path,
    )


def _since(store: Store, newer: Saved, revision: int | None) -> tuple[str, ...]:
    """What changed between the version the form was opened from and the one that stands; empty where it is not kept."""
    if revision is None:
        return ()
    try:
        before = household_of(store.version(newer.household_id, revision).text)
    except InputError:
        return ()
    return tuple(one.sentence for one in changes(before, household_of(newer.text))[:SHOWN])


def _shown(one: Field, card: Card) -> str:
    """A field as people read it: the name of a choice, yes or no of a tick."""
    text = card.form.raw.get(one.name, "")
    if one.kind == "choice":
        return dict(one.choices).get(text, text)
    return ("yes" if text else "no") if one.kind == "tick" else text
