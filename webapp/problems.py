"""What stands against a live question, in place of its answer: sentences, and the readings of what was refused."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from urllib.parse import urlencode

from fastapi import Request
from markupsafe import Markup
from starlette.responses import HTMLResponse

from webapp.forms import Field
from webapp.render import as_read


def problems(request: Request, errors: Mapping[str, str], fields: Iterable[Field] = ()) -> HTMLResponse:
    """Answer a live question that is not complete yet: what to mend, for the page's `#problems` (422).

    Each reading of a refused number is a link to the same question with it.
    """
    offered = readings_of(request, fields)
    items = Markup("").join(
        Markup('<li><a id="{0}-problem" href="#{0}">{1}</a>{2}</li>').format(name, text, offered.get(name, ""))
        for name, text in errors.items()
    )
    html = str(Markup("<ul>{}</ul>").format(items))
    html = as_read(request, html, request.app.state.store.current())
    return HTMLResponse(html, 422, headers={"Vary": "HX-Request-Type", "Cache-Control": "no-store"})


def readings_of(request: Request, fields: Iterable[Field]) -> dict[str, Markup]:
    """Return what was typed in each field may have meant, every reading as a link to the question with it."""
    return {one.name: _readings(request, one) for one in fields}


def _readings(request: Request, field: Field) -> Markup:
    others = [(name, text) for name, text in request.query_params.multi_items() if name != field.name]
    return Markup("").join(
        Markup(' <a class="button quiet" href="{}?{}">{}</a>').format(
            request.url.path, urlencode([*others, (field.name, one.text)]), one.label
        )
        for one in field.readings(request.query_params)
    )
