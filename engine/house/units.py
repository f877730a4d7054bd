"""How the people of a household read and type: units, decimal sign and clock.

Only a wish of those who read: every number of the document, of every answer and of every file stays in °C, mm², metres,
litres and kilometres, with a point and a clock of 24 hours. The page around the engine turns them.
Not modelled: other languages, kilograms and watts in other units, dates written otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import ClassVar

from engine.errors import InputError

CHOICES: dict[str, tuple[str, dict[str, str]]] = {
    "temperature": ("Temperatures", {"c": "°C", "f": "°F"}),
    "wire": ("Cross-section of cables", {"mm2": "mm²", "awg": "AWG"}),
    "length": ("Lengths of cables, heights", {"m": "metres", "ft": "feet"}),
    "volume": ("Fuel and water", {"l": "litres", "gal": "US gallons"}),
    "distance": ("Distances", {"km": "kilometres", "mi": "miles"}),
    "decimal": ("Decimal sign", {"point": "point, as in “12.5”", "comma": "comma, as in “12,5”"}),
    "clock": ("Clock", {"24": "24 hours, as in “14:30”", "12": "12 hours, as in “2:30 pm”"}),
}
"""What each field is called, and its choices as stored and in words; the first is the one of old documents.
An example stands in quotes, so that it is shown as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """What numbers and times are shown and typed in."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    temperature: str = "c"
    wire: str = "mm2"
    length: str = "m"
    volume: str = "l"
    distance: str = "km"
    decimal: str = "point"
    clock: str = "24"

    def __post_init__(self) -> None:
        faults = [
            InputError(name, f"{label} must be one of {', '.join(choices)}; got “{getattr(self, name)}”.")
            for name, (label, choices) in CHOICES.items()
            if getattr(self, name) not in choices
        ]
        if faults:
            raise InputError(faults[0].field, faults[0].message, tuple(faults[1:]))

    @property
    def rows(self) -> tuple[tuple[str, str], ...]:
        """Each setting and its choice, in words."""
        return tuple((CHOICES[f.name][0], CHOICES[f.name][1][getattr(self, f.name)]) for f in fields(self))
