"""A chart as a household reads it: numbers along an axis that names its unit, words, signs and clock."""

from __future__ import annotations

import json
import re
from typing import Any

from webapp.as_shown import THIN, AsShown
from webapp.units import Scale

Part = dict[str, Any]

_AXIS = re.compile(r"([xy])axis(\d*)")
_WORDS = ("text", "ticktext", "hovertext", "name", "title", "hovertemplate", "texttemplate", "ticksuffix", "label")
_CLOCKS = ("tickformat", "hoverformat", "hovertemplate")
_ESCAPES = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "'": "\\u0027"}
_BEHIND = re.compile(r"(\})([ \u00a0]?)([^\s<%{]+)")
_NUMBER = re.compile(r"^[−-]?[\d.]+")
_BARE = re.compile(r"[−-]?[\d.]+")
_DAY_MS = 86_400_000


def figure_text(text: str, words: AsShown) -> str:
    """Turn a figure as it stands in a page, JSON that is safe in an attribute."""
    figure = json.loads(text)
    for part in (figure.get("layout"), figure.get("narrow")):
        if isinstance(part, dict):
            _layout(part, words)
    _axes(figure, words)
    for trace in figure.get("data", ()):
        _spoken(trace, words)
    out = json.dumps(figure, separators=(",", ":"))
    for sign, escape in _ESCAPES.items():
        out = out.replace(sign, escape)
    return out


def _layout(layout: Part, words: AsShown) -> None:
    if words.units.decimal == "comma":
        layout["separators"] = f",{THIN}"
    if words.units.clock == "12":
        for name, axis in layout.items():
            if _AXIS.fullmatch(name) and axis.get("type") == "date" and not {"tickformat", "ticktext"} & set(axis):
                axis["tickformatstops"] = [
                    {"dtickrange": [None, _DAY_MS - 1], "value": "%-I %p\n%-d %b"},
                    {"dtickrange": [_DAY_MS, None], "value": "%-d %b"},
                ]


def _axes(figure: Part, words: AsShown) -> None:
    """Turn every axis that names a unit, with what lies along it; then the words of the layout."""
    layout = figure.get("layout", {})
    scales = {
        f"{found[1]}{found[2]}": scale
        for name, axis in layout.items()
        if (found := _AXIS.fullmatch(name)) and (scale := _scale(axis, words))
    }
    for axis_id, scale in scales.items():
        letter = axis_id[0]
        for part in (layout, figure.get("narrow") or {}):
            _axis(part.get(f"{letter}axis{axis_id[1:]}"), scale, words)
            for drawn in (*part.get("shapes", ()), *part.get("annotations", ())):
                if drawn.get(f"{letter}ref", letter) == axis_id:
                    _numbers(drawn, (letter, f"{letter}0", f"{letter}1"), scale)
        for trace in figure.get("data", ()):
            if trace.get(f"{letter}axis", letter) == axis_id:
                _numbers(trace, (letter,), scale)
    for part in (layout, figure.get("narrow") or {}):
        _spoken(part, words)


def _scale(axis: Part, words: AsShown) -> Scale | None:
    """The scale of the unit that an axis names at the end of its title, behind its ticks or behind the first one."""
    title = axis.get("title", "")
    text = title.get("text", "") if isinstance(title, dict) else title
    first = str((axis.get("ticktext") or [""])[0])
    for told in (str(text or ""), str(axis.get("ticksuffix", "")), _NUMBER.sub("", first)):
        last = told.rpartition(", ")[2].strip()
        if last in words.heads():
            return words.heads()[last]
    return None


def _axis(axis: Part | None, scale: Scale, words: AsShown) -> None:
    if axis is None:
        return
    if "ticktext" in axis:
        axis["ticktext"] = [words.number(text, scale) if _BARE.fullmatch(text) else text for text in axis["ticktext"]]
    _numbers(axis, ("range", "tickvals", "tick0"), scale)
    if isinstance(axis.get("dtick"), int | float):
        del axis["dtick"]


def _numbers(part: Part, names: tuple[str, ...], scale: Scale) -> None:
    for name in names:
        if name in part:
            part[name] = _turned(part[name], scale)


def _turned(value: Any, scale: Scale) -> Any:
    if isinstance(value, list):
        return [_turned(one, scale) for one in value]
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return round(scale.shown(value), 4) if number else value


def _spoken(part: Any, words: AsShown, name: str = "") -> Any:
    """Turn every word that is read, wherever it stands; positions and dates stay."""
    if isinstance(part, dict):
        for key in part:
            part[key] = _spoken(part[key], words, key)
    elif isinstance(part, list):
        return [_spoken(one, words, name) for one in part]
    elif isinstance(part, str):
        if name in _CLOCKS and words.units.clock == "12":
            part = part.replace("%H:%M", "%-I:%M %p")
        if name in _WORDS or name == "customdata":
            return _said(part, words)
    return part


def _said(text: str, words: AsShown) -> str:
    heads = words.heads()
    before, comma, last = text.rpartition(", ")
    if last.strip() in heads:
        return f"{words.text(before)}{comma}{last.replace(last.strip(), heads[last.strip()].unit)}"
    text = _BEHIND.sub(lambda one: f"{one[1]}{one[2]}{heads[one[3]].unit}" if one[3] in heads else one[0], text)
    return words.text(text)
