"""What a person takes away as a file: a table for a spreadsheet, and an answer that opens anywhere.

A table is written as comma-separated text in UTF-8 with a byte-order mark: with it the common spreadsheets
read signs such as °C rightly; numbers have a decimal point and no thousands mark. An answer is one HTML
file with style, script and figures inside; it asks nothing of a network and says so to the browser.
Not made here: the picture of a chart, which the browser saves itself.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any

import jinja2
from markupsafe import Markup
from starlette.responses import Response

from engine.text.formulas import FORMULA_SIGNS
from webapp.paths import static_dir

BYTE_ORDER_MARK = "\ufeff"
PLOTLY = "vendor/plotly-cartesian-4.1.1.min.js"
_SCRIPT_ENDS = re.compile(r"<(?=/script|!--|script)", re.IGNORECASE)
_OWN_LINKS = re.compile(r'<a\b[^>]*\shref="/[^"]*"[^>]*>(.*?)</a>', re.DOTALL)

Cell = str | float | int | None


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    r"""Write a table as comma-separated text, every text cell guarded against being run as a formula.

    Parameters
    ----------
    header : sequence of str
        Names of the columns, each with its unit.
    rows : iterable of sequences
        Numbers are written as they are; None is an empty cell.

    Examples
    --------
    >>> csv_text(["what", "by, V"], [["=1+1", -0.5], ["plain", None]])
    '\ufeffwhat,"by, V"\r\n\'=1+1,-0.5\r\nplain,\r\n'
    """
    out = io.StringIO()
    writer = csv.writer(out)
    for row in (header, *rows):
        writer.writerow([guarded(cell) for cell in row])
    return BYTE_ORDER_MARK + out.getvalue()


def guarded(cell: Cell) -> Cell:
    """Return a cell that no spreadsheet runs: a text that looks like a formula gets an apostrophe before it.

    One that has one already gets another, so that `engine.text.formulas.unguarded` gives back what was typed.
    """
    if isinstance(cell, str) and cell.lstrip(" '").startswith(FORMULA_SIGNS):
        return f"'{cell}"
    return cell


def file_response(content: str, name: str, media_type: str) -> Response:
    """Return a text as a file to keep.

    Parameters
    ----------
    content : str
        Sent as UTF-8.
    name : str
        File name; whatever is no plain letter, digit or hyphen becomes a hyphen.
    media_type : str
        Such as ``text/csv``.
    """
    stem, _, kind = name.rpartition(".")
    safe = re.sub(r"[^A-Za-z0-9]+", "-", stem).strip("-") or "greyspell"
    headers = {"Content-Disposition": f'attachment; filename="{safe}.{kind}"', "Cache-Control": "no-store"}
    return Response(content.encode(), media_type=f"{media_type}; charset=utf-8", headers=headers)


def alone(env: jinja2.Environment, template: str, **context: Any) -> str:
    """Return one HTML file that holds all it needs: the template's words, our style and script, the chart drawer.

    Parameters
    ----------
    template : str
        File name of a template that takes `styles`, `print_styles`, `plotly`, `script` and `unlinked` beside `context`.
    """
    return env.get_template(template).render(
        styles=inlined("app.css"),
        print_styles=inlined("print.css"),
        plotly=inlined(PLOTLY),
        script=inlined("app.js"),
        unlinked=unlinked,
        **context,
    )


def unlinked(html: str) -> Markup:
    """Return rendered, escaped markup with the links to our own pages left as plain words.

    Examples
    --------
    >>> unlinked('<p><a class="press" href="/banks">Bank</a> of <a href="#end">the end</a></p>')
    Markup('<p>Bank of <a href="#end">the end</a></p>')
    """
    return Markup(_OWN_LINKS.sub(r"\1", html))


@lru_cache(maxsize=8)
def inlined(name: str) -> Markup:
    """Return one of our own static files as it may stand inside a script or style element."""
    return Markup(inside_script((static_dir() / name).read_text(encoding="utf-8")))


def inside_script(text: str) -> str:
    r"""Return program text in which nothing closes the script element it stands in.

    Examples
    --------
    >>> inside_script("'</script>' + '<!--'")
    "'\\x3c/script>' + '\\x3c!--'"
    """
    return _SCRIPT_ENDS.sub(r"\\x3c", text)
