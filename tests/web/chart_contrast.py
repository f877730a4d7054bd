"""How strongly the parts of a figure stand out from their ground, and whether its series differ without colour.

The thresholds are those of WCAG 2.2: 4.5 for text (1.4.3), 3 for marks that carry meaning (1.4.11). A wash carries its
meaning by its edges, a hatch by the line round it.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

TEXT, MARK = 4.5, 3.0
APART = 1.5
"""Greys this many times as light as another are told apart (judgement)."""
Rgb = tuple[float, float, float]
Theme = dict[str, Rgb]
Figure = dict[str, Any]
_STYLES = (Path(__file__).resolve().parents[2] / "static" / "app.css").read_text(encoding="utf-8")


def themes() -> dict[str, Theme]:
    """The colours of the style sheet: light, dark, and those of paper."""
    blocks = re.findall(r"(:root(?:, \.on-paper)?|\.on-paper) \{([^}]*--paper[^}]*)\}", _STYLES)
    light, dark, paper = (dict(re.findall(r"(--[\w-]+):\s*(#[0-9a-f]{3,6})\b", body)) for _, body in blocks)
    return {
        name: {key: _rgb(value) for key, value in colours.items()}
        for name, colours in {"light": light, "dark": light | dark, "paper": light | paper}.items()
    }


def _rgb(text: str) -> Rgb:
    digits = text[1:] if len(text) == 7 else "".join(2 * one for one in text[1:])
    red, green, blue = (int(digits[at : at + 2], 16) / 255.0 for at in (0, 2, 4))
    return red, green, blue


def luminance(colour: Rgb) -> float:
    """Relative luminance of sRGB (WCAG 2.2)."""
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: Rgb, other: Rgb) -> float:
    """Contrast ratio of two colours, from 1 to 21 (WCAG 2.2)."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def painted(name: str, theme: Theme, ground: Rgb) -> Rgb:
    """A colour of a figure, “--slate” or “--slate/.15”, as it comes out over a ground."""
    colour, _, share = name.partition("/")
    part = float(share or 1.0)
    red, green, blue = (part * c + (1.0 - part) * under for c, under in zip(theme[colour], ground, strict=True))
    return red, green, blue


def _ours(colour: Any) -> bool:
    return isinstance(colour, str) and colour.startswith("--")


def _colours_of(value: Any) -> list[str]:
    return [one for one in (value if isinstance(value, list) else [value]) if _ours(one)]


def texts(figure: Figure) -> Iterator[tuple[str, str | None, bool]]:
    """Colour of every text of a figure, its own ground if it has one, and whether it may stand on a wash.

    What says nothing is --ink and --soft. Axes and names at the ends of lines, which have leaders, stand beside it.
    """
    yield from (("--ink", None, True), ("--soft", None, False), ("--ink", "--card", False))
    for trace in figure["data"]:
        yield from ((colour, None, True) for colour in _colours_of(trace.get("textfont", {}).get("color")))
    for note in figure["layout"].get("annotations", []):
        own = note.get("bgcolor") if _ours(note.get("bgcolor")) else None
        inside = not note.get("showarrow", True)
        yield from ((colour, own, inside) for colour in _colours_of(note.get("font", {}).get("color")))
    for name, axis in figure["layout"].items():
        if isinstance(axis, dict) and "axis" in name:
            for part in (axis.get("tickfont", {}), axis.get("title", {}).get("font", {})):
                yield from ((colour, None, False) for colour in _colours_of(part.get("color")))


def marks(trace: Figure) -> Iterator[str]:
    """Colour of each line, edge and mark of a trace that is drawn; a wash between its edges is not one."""
    line, marker = trace.get("line", {}), trace.get("marker", {})
    lines = "lines" in trace.get("mode", "lines") and trace["type"] == "scatter" and line.get("width") != 0
    yield from _colours_of(line.get("color")) if lines else []
    if "markers" in trace.get("mode", "") or trace["type"] == "bar":
        solid = _colours_of(marker.get("color"))
        edges = _colours_of(marker.get("line", {}).get("color"))
        hollow = [one for one in solid if one in ("--paper", "--card")]
        yield from edges if hollow or not solid else solid


def faint(figure: Figure, theme: Theme) -> list[str]:
    """What of a figure does not stand out enough in a theme."""
    paper = theme["--paper"]
    washes = [one["fillcolor"] for one in figure["data"] if _ours(one.get("fillcolor"))]
    grounds = [paper, *(painted(one, theme, paper) for one in washes)]
    found = []
    for colour, own, inside in texts(figure):
        under = [theme[own]] if own else grounds if inside else [paper]
        found += [f"text {colour}: {r:.2f}" for g in under if (r := contrast(painted(colour, theme, g), g)) < TEXT]
    for trace in figure["data"]:
        for colour in marks(trace):
            if (ratio := contrast(painted(colour, theme, paper), paper)) < MARK:
                found.append(f"{trace.get('name', trace['type'])} {colour}: {ratio:.2f}")
    return sorted(set(found))


def _manner(trace: Figure) -> tuple[object, ...]:
    line, marker = trace.get("line", {}), trace.get("marker", {})
    drawn = trace.get("mode", "lines") if trace["type"] == "scatter" else trace["type"]
    dash = line.get("dash", "solid") if "lines" in drawn else None
    mark = str(marker.get("symbol", "circle")) if "markers" in drawn else None
    hatch = str((trace.get("fillpattern") or marker.get("pattern") or {}).get("shape"))
    return drawn, dash, mark, hatch, trace.get("xaxis"), trace.get("yaxis")


def alike(figure: Figure, theme: Theme) -> list[str]:
    """Pairs of traces that differ by colour alone, of greys too near each other."""
    found = []
    for one, other in itertools.combinations(figure["data"], 2):
        mine, theirs = (next(marks(trace), None) for trace in (one, other))
        if mine is None or theirs is None or mine == theirs or _manner(one) != _manner(other):
            continue
        widths = sorted(trace.get("line", {}).get("width", 2.0) for trace in (one, other))
        paper = theme["--paper"]
        greys = contrast(painted(mine, theme, paper), painted(theirs, theme, paper))
        if greys < APART and widths[1] < APART * widths[0]:
            found.append(f"{one.get('name')} and {other.get('name')}: {mine}, {theirs}, {greys:.2f}")
    return found
