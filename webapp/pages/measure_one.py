"""What the pages of the three measurements do alike: show the question, what to do and the answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from starlette.responses import Response

from engine.house.household import Household
from webapp.forms import Field, Parsed, Values
from webapp.problems import problems
from webapp.questions import Blocked, asked, json_reply, plain_query
from webapp.render import is_partial, render
from webapp.standing import next_step

LIST = "/measure"
_SET = "set"
"""In the address once a value was used; it is no part of the question."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A measurement's question as read; `blocked` says why there can be no answer yet."""

    house: Household
    fields: tuple[Field, ...]
    form: Parsed[Values]
    typed: Mapping[str, str]
    answer: object
    blocked: Blocked | None = None


def typed_in(request: Request) -> dict[str, str]:
    """Return what the address asks."""
    return {name: text for name, text in asked(request).items() if name != _SET}


def show(
    request: Request,
    question: Question,
    path: str,
    title: str,
    shown: Mapping[str, Any],
    *,
    more: Sequence[str],
    more_label: str,
    more_open: bool | None = None,
    rows: Sequence[tuple[str, Sequence[Field]]] = (),
) -> Response:
    """Show a measurement, or what to mend beside its live question.

    Parameters
    ----------
    path, title : str
        Of the page.
    shown : mapping
        `view` and what stands under it.
    more : sequence of str
        Names of the fields that are folded away under `more_label`.
    more_open : bool, optional
        Whether they stand open; left out: where one of them was typed or is to be mended.
    rows : sequence of (str, sequence of Field)
        Fields that stand in a row with a name, beside the others.
    """
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(request, errors, question.fields)
    in_rows = {one.name for _, fields in rows for one in fields}
    typed = any(name in errors or question.typed.get(name, "").strip() for name in more)
    return render(
        request,
        "measure_one.html",
        "answer",
        status=422 if errors else 200,
        here=LIST,
        path=path,
        title=title,
        form=question.form,
        fields=[one for one in question.fields if one.name not in more and one.name not in in_rows],
        rows=rows,
        more=[one for one in question.fields if one.name in more],
        more_label=more_label,
        more_open=typed if more_open is None else more_open,
        query=plain_query(question.typed),
        set_now=_SET in request.query_params,
        step=next_step(question.house),
        blocked=question.blocked,
        answer=question.answer,
        **shown,
    )


def as_data(question: Question) -> Response:
    """Answer the same question as JSON, unrounded."""
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked))
