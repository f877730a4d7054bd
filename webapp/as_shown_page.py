"""A page as a household reads it: one last step over its markup, taken where that is not how the engine writes.

Turned are texts between tags, what stands in `SPOKEN` attributes, columns whose unit stands at their head, the moments
in fields of text, and the figures. Left are scripts, code, what is typed into a field, options' values, and every
element marked `data-as-is`; in one marked `data-si` the units stay and only signs and times are turned.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from markupsafe import escape

from engine.house.units import Units
from webapp.as_shown import CLOSE_SMALL, OPEN_SMALL, AsShown, has_thousands
from webapp.as_shown_figure import figure_text
from webapp.units import AS_SHOWN, FOR_PROGRAMS, SI, Scale, with_12_hours

SPOKEN = ("title", "aria-label", "alt", "label", "data-label", "data-before", "data-foot")
_TAGS = re.compile(r"(<[^>]*>)")
_NAME = re.compile(r"</?([a-zA-Z0-9]+)")
_ATTRIBUTE = re.compile(rf'\s({"|".join(SPOKEN)})="([^"]*)"')
_LABEL = re.compile(r'\sdata-label="([^"]*)"')
_FIGURE = re.compile(r"\sdata-figure='([^']*)'")
_LINK = re.compile(r'\s(href|action)="(/[^"?]*)\?([^"#]+)(#[^"]*)?"')
_MOMENT = re.compile(r'(\svalue="(?:\d{4}-\d\d-\d\d[ T]|\d{1,2} [A-Z][a-z]{2} \d{4} ))(\d\d):(\d\d)(")')
_PLAIN_NUMBERS = re.compile(r"\s*[−-]?\d[\d.,\u202f]*(?: to [−-]?\d[\d.,\u202f]*)?\s*")
_SILENT = ("script", "style", "textarea", "pre", "code")
_VOID = ("input", "br", "img", "link", "meta", "hr", "col", "wbr", "path", "circle", "rect", "use")


def to_turn(html: str, units: Units) -> bool:
    """Whether a page is to be turned at all: other units, or a large number outside the figures’ rows of numbers."""
    return units != SI or has_thousands(_FIGURE.sub("", html))


@dataclass
class _Table:
    """Where in a table the page is: the column, whether in its head, and the units that stand there."""

    units: dict[int, Scale] = field(default_factory=dict)
    in_head: bool = False
    column: int = -1
    cell: Scale | None = None


@dataclass
class _Left:
    """An element that is left alone, wholly or but for its signs, until it closes."""

    name: str
    only_signs: bool
    depth: int = 1


class PageAsShown:
    """The turning of one page.

    Parameters
    ----------
    units : Units
        What is to be read.
    kept : iterable of str
        What people typed, which stays as it is.
    """

    def __init__(self, units: Units, kept: Iterable[str] = ()) -> None:
        names = tuple(kept)
        self.units = units
        self.words = AsShown(units, [str(escape(name)) for name in names])
        self.plain_words = AsShown(units, names)
        self.heads = self.words.heads()
        self._head = re.compile(
            rf"(\s*|.*, )({'|'.join(map(re.escape, sorted(self.heads, key=len, reverse=True)))})(\s*)", re.DOTALL
        )
        self._tables: list[_Table] = []
        self._left: _Left | None = None

    def page(self, html: str) -> str:
        """Return the page turned."""
        html = html.replace("<small>", OPEN_SMALL).replace("</small>", CLOSE_SMALL)
        parts = _TAGS.split(html)
        out = [self._tag(part) if place % 2 else self._text(part) for place, part in enumerate(parts)]
        return "".join(out).replace(OPEN_SMALL, "<small>").replace(CLOSE_SMALL, "</small>")

    # -- texts

    def _text(self, text: str) -> str:
        if not text or text.isspace():
            return text
        if self._left is not None:
            return self.words.text(text, only_signs=True) if self._left.only_signs else text
        table = self._tables[-1] if self._tables else None
        if table is not None and table.in_head:
            return self._heading(text, table)
        if table is not None and table.cell is not None and _PLAIN_NUMBERS.fullmatch(text):
            text = self.words.number(text, table.cell)
            return self.words.text(text, only_signs=True)
        return self.words.text(text)

    def _heading(self, text: str, table: _Table | None) -> str:
        """A text whose last word may be the unit of what stands under it."""
        found = self._head.fullmatch(text) if self.heads else None
        if found is None:
            return self.words.text(text)
        scale = self.heads[found[2]]
        if table is not None:
            table.units[table.column] = scale
        return f"{found[1]}{scale.unit}{found[3]}"

    # -- tags

    def _tag(self, tag: str) -> str:
        named = _NAME.match(tag)
        name = named[1].lower() if named else ""
        if self._left is not None:
            self._follow(tag, name, self._left)
            return tag
        if "data-as-is" in tag or "data-si" in tag or name in _SILENT:
            if tag[1] != "/" and name not in _VOID:
                self._left = _Left(name, only_signs="data-si" in tag)
            return tag
        self._walk(tag, name)
        return self._turned(tag, name) if '="' in tag or "='" in tag else tag

    def _follow(self, tag: str, name: str, left: _Left) -> None:
        if name == left.name and not tag.endswith("/>"):
            left.depth += -1 if tag[1] == "/" else 1
        if not left.depth:
            self._left = None

    def _walk(self, tag: str, name: str) -> None:
        """Keep account of where in a table this is."""
        if name == "table":
            if tag[1] == "/":
                self._tables = self._tables[:-1]
            else:
                self._tables.append(_Table())
            return
        table = self._tables[-1] if self._tables else None
        if table is None:
            return
        if name == "thead":
            table.in_head = tag[1] != "/"
        elif name == "tr":
            table.column = -1
        elif name in ("td", "th"):
            table.cell = None
            if tag[1] != "/":
                table.column += 1
                table.cell = None if table.in_head else self._unit_of(tag) or table.units.get(table.column)

    def _unit_of(self, tag: str) -> Scale | None:
        label = _LABEL.search(tag)
        found = self._head.fullmatch(label[1]) if label and self.heads else None
        return self.heads[found[2]] if found else None

    def _turned(self, tag: str, name: str) -> str:
        if "data-figure" in tag:
            tag = _FIGURE.sub(lambda one: f" data-figure='{figure_text(one[1], self.plain_words)}'", tag)
        if name in ("a", "form") and self.units != SI:
            tag = _LINK.sub(self._link, tag)
        if name == "input":
            tag = _MOMENT.sub(self._moment, tag) if self.units.clock == "12" and 'type="text"' in tag else tag
        return _ATTRIBUTE.sub(lambda one: f' {one[1]}="{self._spoken(one[1], one[2])}"', tag)

    def _spoken(self, name: str, text: str) -> str:
        return self._heading(text, None) if name == "data-label" else self.words.text(text)

    def _link(self, found: re.Match[str]) -> str:
        """A link to an answer for programs says that its question was typed on this page."""
        if not found[2].endswith(FOR_PROGRAMS):
            return found[0]
        name, value = AS_SHOWN
        return f' {found[1]}="{found[2]}?{found[3]}&amp;{name}={value}{found[4] or ""}"'

    def _moment(self, found: re.Match[str]) -> str:
        return f"{found[1].replace('T', ' ')}{with_12_hours(int(found[2]), int(found[3]))}{found[4]}"
