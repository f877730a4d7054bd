"""What Today does for the promise book: which of its answers are kept, what the page says of it, and wider ranges.

An answer is kept by itself where somebody asked for it on purpose: the page was opened with a charge that was typed,
for about now, in a household that is not the example. What changes while somebody types is not kept, and a charge that
seems to be the last one once more is not either; a button keeps those.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from fastapi import Request
from markupsafe import Markup

from engine.answers.autonomy import Autonomy, BankAutonomy
from engine.answers.promises import promise_of
from engine.errors import InputError
from engine.house.charge_scales import FLAT_SOC
from engine.sky.moment import readable_span
from engine.sky.site import Site
from webapp import promise_store
from webapp.editing import opened, store_of
from webapp.now_question import Question
from webapp.promise_log import score_by_log
from webapp.promise_store import KEEP, Note, same_reading
from webapp.promise_words import too_narrow
from webapp.questions import plain_query, to_standard
from webapp.render import is_partial, mark_of
from webapp.words import stamp

ABOUT_NOW = timedelta(hours=1)
"""A question for further from now than this is one of another moment, whose charge nobody read (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """What becomes of an answer: `state` is kept, same (the last charge once more), button, off or none.

    `asked` is the question as a form sends it again, of its own moment: a page left open overnight keeps nothing.
    """

    state: str = "none"
    notes: tuple[Note, ...] = ()
    before: str = ""
    asked: tuple[tuple[str, str], ...] = ()


def factors_of(request: Request) -> dict[str, float]:
    """Return how many times as wide each bank's range is to be shown, by bank id, where it is."""
    return promise_store.factors(store_of(request), opened(request)[0].household_id)


def wide_lines(request: Request, answer: Autonomy) -> dict[str, Markup]:
    """Say of each bank whose range was widened by how much and why, by its id."""
    wide = [bank.bank_id for bank in answer.banks if bank.widened > 1.0]
    if not wide:
        return {}
    found = promise_store.calibrations(store_of(request), opened(request)[0].household_id)
    return {bank_id: too_narrow(found[bank_id]) for bank_id in wide if bank_id in found}


def keeping(request: Request, question: Question, answer: Autonomy) -> Keeping:
    """Return what becomes of an answer that is on the household's clock."""
    saved, store = opened(request)[0], store_of(request)
    notes = notes_of(question, answer, mark_of(saved))
    if not notes or store.read_only:
        return Keeping()
    if not promise_store.allowed(store, saved.household_id, KEEP):
        return Keeping(state="off")
    asked = tuple({**question.typed, "at": question.moment.isoformat(timespec="minutes")}.items())
    if is_partial(request) or saved.example or _unasked(request):
        return Keeping(state="button", notes=notes, asked=asked)
    last = [promise_store.last(store, saved.household_id, note.bank_id) for note in notes]
    same = [one for one, note in zip(last, notes, strict=True) if one is not None and same_reading(one, note)]
    if len(same) == len(notes):
        when = stamp(same[0].asked_at.astimezone(question.now.tzinfo))
        return Keeping(state="same", notes=notes, before=when, asked=asked)
    return Keeping(state="kept", notes=notes)


def _unasked(request: Request) -> bool:
    """Whether nobody asked for the page on purpose: a browser fetched it ahead, or another site led to it.

    A link in a mail, or a picture of some page, writes nothing into the book. A browser that says nothing of it (at a
    plain http address of a network) is taken at its word; with such a picture it sends no cookie of a sign-in.
    """
    said = request.headers
    ahead = any("prefetch" in said.get(name, "").lower() for name in ("Sec-Purpose", "Purpose", "X-Moz"))
    elsewhere = said.get("Sec-Fetch-Site", "none") not in ("same-origin", "none")
    as_page = said.get("Sec-Fetch-Dest", "document") in ("document", "empty")
    return ahead or elsewhere or not as_page


def keep_quietly(request: Request, notes: tuple[Note, ...]) -> None:
    """Keep answers once they were given; a disk that is full takes nothing from the answer."""
    store, household_id = store_of(request), opened(request)[0].household_id
    with suppress(InputError):
        promise_store.keep(store, household_id, notes)
        score_by_log(store, household_id)


def notes_of(question: Question, answer: Autonomy, mark: str) -> tuple[Note, ...]:
    """Return what is kept of an answer: each bank whose charge was read just now and is known."""
    if abs(question.moment - question.now) > ABOUT_NOW:
        return ()
    asked_at = question.moment.astimezone(UTC)
    return tuple(
        Note(
            bank_id=bank.bank_id,
            asked_at=asked_at,
            asked=_asked(question, answer, bank, mark),
            promise=promise_of(bank),
        )
        for bank in answer.banks
        if _was_read(question, bank)
    )


def _was_read(question: Question, bank: BankAutonomy) -> bool:
    """Whether every charge of a supply was typed, and none is left open by flat volts."""
    return all(one.bank_id in question.told and one.high_soc - one.low_soc <= FLAT_SOC for one in bank.charges)


def _asked(question: Question, answer: Autonomy, bank: BankAutonomy, mark: str) -> dict[str, Any]:
    on_bus = {one.bank_id for one in bank.charges}
    return {
        "bank": bank.name,
        "banks": sum(len(one.charges) for one in answer.banks),
        "ah": round(sum(one.ah for one in question.house.banks if one.id in on_bus), 1),
        "soc": round(bank.start_soc, 4),
        "off": sorted(question.off),
        "generator": bank.with_generator is not None,
        "sky": answer.sky_title,
        "fan": bank.fan is not None,
        "dawn_h": dawn_h(question.house.site, to_standard(question.house.site, question.moment)),
        "hash": mark,
        "query": plain_query(question.typed),
    }


def dawn_h(site: Site, at: datetime) -> float | None:
    """Return the hours to the next moment at which the sun comes to stand 5 degrees high; None where it does not."""
    for days in (0, 1):
        span = readable_span(site, (at + timedelta(days=days)).date())
        if span is not None and span[0] > at:
            return round((span[0] - at).total_seconds() / 3600.0, 3)
    return None
