"""What the values of a cell are called on paper, with their unit, kind and source.

The numbers come from the catalogue (or the household's own cell) as they stand; only the wording is here.
Degrees are Celsius, volts per cell, currents in C (multiples of the tested ampere-hours an hour).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from engine.answers.answer import Worked, cell_title
from engine.cells.chemistry import Chemistry, field_label
from engine.fields import quantities
from engine.sources import SOURCE_KINDS
from webapp.as_shown import grouped
from webapp.render import NO_BREAK, figures, fixed, singular

KIND_MEANINGS = dict(
    zip(
        SOURCE_KINDS,
        (
            "read off an instrument, here or by the people named; a place, a cell or a day of its own",
            "worked out by us with a published model and its published numbers",
            "printed in a paper, a standard or a maker’s public page",
            "what is usual, written down from memory without a source at hand: replace it with your own",
            "chosen by us because something must be chosen: a judgement, not a finding",
        ),
        strict=True,
    )
)
"""What each kind of number means to the reader."""

LONGEST_TABLE = 6
"""Points of a table that are written out one by one."""
SMALL_KWH = 0.1
"""Below this an energy is written to a hundredth."""
_SPANS = {"ocv_v": "V", "r_slow_v_per_c": "V per C", "r_fast_v_per_c": "V per C", "coulombic_efficiency": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One value of a cell, or several that share a source: in words, and where they are from."""

    title: str
    values: tuple[tuple[str, str], ...]
    kind: str
    source: str

    @property
    def text(self) -> str:
        """The names and values in one line."""
        return "; ".join(f"{name} {value}".strip() for name, value in self.values)


def shown(cell: Chemistry, name: str) -> str:
    """Write one value of a cell as people read it; a curve by its ends, a table pair by pair.

    Examples
    --------
    >>> from engine.cells import catalogue
    >>> shown(catalogue.load("lfp"), "v_nominal"), shown(catalogue.load("lfp"), "reserve_soc")
    ('3.2 V', '10 %')
    """
    value = getattr(cell, name)
    meaning = quantities(Chemistry).get(name)
    if meaning is not None:
        return "–" if value is None else singular(f"{plain_number(value * meaning.scale)} {meaning.unit}".strip())
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name.endswith("_temperature"):
        return _pairs(value)
    if isinstance(value, tuple):
        return f"{value[0]:.3g} to {value[-1]:.3g} {_SPANS.get(name, '')}".strip()
    return f"{value:.4g}"


def _pairs(pairs: tuple[tuple[float, float], ...]) -> str:
    """A temperature table: whole where it is short, else its ends, which are no range, and how many points it has."""
    told = [f"{plain_number(round(degrees, 1))} °C × {factor:.3g}" for degrees, factor in pairs]
    if len(told) <= LONGEST_TABLE:
        return ", ".join(told)
    return f"{told[0]} up to {told[-1]}, in {len(told)} points"


def plain_number(value: float) -> str:
    """Write a stored number without needless digits and with a true minus."""
    return fixed(value) if value == round(value) else f"{value:.6g}".replace("-", "−")


def tidy(value: float, count: int = 4) -> str:
    """Write a number with up to `count` significant figures and no trailing zeros.

    Examples
    --------
    >>> tidy(8.6016), tidy(0.7000000001), tidy(4.0), tidy(-362.58)
    ('8.602', '0.7', '4', '−362.6')
    """
    text = figures(value, count)
    return text.rstrip("0").rstrip(".") if "." in text else text


def lines(worked: Iterable[Worked], count: int = 4) -> list[tuple[str, str, str]]:
    """Write the lines of a calculation: what, how, and the number with its unit."""
    return [(w.label, grouped(w.how), amount(w.value, w.unit, count)) for w in worked]


def amount(value: float, unit: str, count: int = 4) -> str:
    """Write a number with its unit and no false digits: small energies to a hundredth, one thing in the singular.

    Examples
    --------
    >>> amount(8.0, "strings"), amount(1.0, "days"), amount(0.009729, "kWh"), amount(33.0357, "kWh")
    ('8\xa0strings', '1\xa0day', '0.01\xa0kWh', '33.04\xa0kWh')
    """
    small = unit == "kWh" and abs(value) < SMALL_KWH
    number = tidy(round(value, 2) if small else value, count)
    return singular(f"{number}{NO_BREAK}{unit}".strip(NO_BREAK))


def facts(cell: Chemistry) -> tuple[Fact, ...]:
    """List what a cell is made of, one entry for each source its data names."""
    return tuple(
        Fact(
            title=cell_title(cell, key),
            values=tuple((field_label(name), shown(cell, name)) for name in key.split() if name != "soc"),
            kind=source.kind,
            source=source.text,
        )
        for key, source in cell.sources.items()
    )


def titled(cells: Iterable[Chemistry]) -> dict[str, Fact]:
    """Return the facts of several cells by the name an answer's assumption has."""
    return {fact.title: fact for cell in cells for fact in facts(cell)}
