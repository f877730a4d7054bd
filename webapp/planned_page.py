"""What the pages of planning share: a question as read, and the page that shows it with its answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from fastapi import Request
from starlette.responses import Response

from engine.house.household import Household
from webapp.forms import Field, Parsed, Values
from webapp.problems import problems
from webapp.questions import Blocked, plain_query
from webapp.render import is_partial, render


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The question as read over the open household; a page with more to ask adds its own."""

    house: Household
    fields: tuple[Field, ...]
    form: Parsed[Values]
    typed: Mapping[str, str]


Q = TypeVar("Q", bound=Asked)
A = TypeVar("A")


def show(
    request: Request,
    template: str,
    question: Q,
    work: Callable[[Q], tuple[A | None, Blocked | None]],
    shown: Callable[[Q, A], Mapping[str, Any]],
    **beside: Any,
) -> Response:
    """Show a page with its question and answer, or only what to mend.

    Parameters
    ----------
    work : callable
        Gives the answer, or why there is none; not asked where something is to be mended.
    shown : callable
        Gives what the template takes where there is an answer.
    **beside : Any
        What the template takes beside, with and without an answer.
    """
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(request, errors, question.fields)
    answer, blocked = (None, None) if errors else work(question)
    asked = {"form": question.form, "fields": question.fields, "query": plain_query(question.typed)}
    answered = {} if answer is None else shown(question, answer)
    names = {**asked, **beside, "blocked": blocked, "answer": answer, **answered}
    return render(request, template, "answer", status=422 if errors else 200, **names)
