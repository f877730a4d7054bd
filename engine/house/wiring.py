"""The cables and fuses between a bank and its inverter as described, and what copper of a size resists.

Lengths are metres one way, cross-sections mm² of copper, both poles alike. What a cable may carry without getting too
hot is never worked out here: it depends on how it is laid, and the person looks it up in the table of the local code.
Not modelled: lugs and joints, strands that are longer than the cable, aluminium, inductance.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import ClassVar

from engine.errors import InputError
from engine.fields import check, quantity

RHO_20_OHM_M = 1.7241e-8
"""Resistivity of annealed copper at 20 degC [ohm m] (published: IEC 60028, 100 % IACS)."""
ALPHA_20_PER_K = 0.00393
"""Rise of its resistance per kelvin, of that at 20 degC (published: IEC 60028)."""
DROP_SHARE = 0.02
"""Wanted highest voltage drop from the bank to the inverter (typical, from memory: 1 to 3 %)."""
CONDUCTOR_C = 70.0
"""Temperature of the copper at full current [degC] (typical, from memory: the limit of PVC insulation)."""

AWG_NAMES = ("14", "12", "10", "8", "6", "4", "3", "2", "1", "1/0", "2/0", "3/0", "4/0")
"""American sizes that banks are wired with."""
METRIC_MM2 = (1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0, 185.0, 240.0)
"""Usual metric sizes [mm²] (published: the nominal sizes of IEC 60228)."""
_AWG = re.compile(r"(?:awg|#)?\s*(?:([1-4])\s*/\s*0|(0{1,4})|([1-9]|[1-3]\d|40))\s*(?:awg)?", re.IGNORECASE)
_SAME_MM2 = 0.0006
"""Stored sizes are rounded to 0.001 mm²."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One run of cable, plus and minus alike, with the fuse in it."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    length_m: float = quantity("Length one way", "m", 0.05, 200, hint="From terminal to terminal along the cable")
    area_mm2: float = quantity("Copper cross-section", "mm²", 0.2, 2000, hint="As printed on the cable")
    carries_a: float | None = quantity(
        "It may carry",
        "A",
        0.5,
        10_000,
        default=None,
        optional=True,
        hint="Looked up in your own code’s table, for how this cable is laid; empty if you do not know",
    )
    fuse_a: float | None = quantity(
        "Fuse", "A", 0.5, 10_000, default=None, optional=True, hint="Printed on it; empty: there is none"
    )
    fuse_v: float | None = quantity(
        "The fuse’s DC volts",
        "V DC",
        1,
        5000,
        default=None,
        optional=True,
        hint="Volts it may break with DC, not AC; empty if you do not know",
    )
    breaking_ka: float | None = quantity(
        "The fuse breaks up to",
        "kA",
        0.05,
        1000,
        default=None,
        optional=True,
        hint="Its breaking capacity with DC at these volts, from its sheet; empty if you do not know",
    )

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """How a bank is wired: the main cable to its inverter, that of each string, and what its cells can short with."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    main: Leg | None = None
    string: Leg | None = None
    cell_mohm: float | None = quantity(
        "One cell’s resistance at 1 kHz",
        "mΩ",
        0.005,
        1000,
        default=None,
        optional=True,
        hint="The maker’s AC milliohms of one cell; those of a block divided by its cells; empty if you do not know",
    )
    fault_ka: float | None = quantity(
        "Short-circuit current of one string",
        "kA",
        0.01,
        1000,
        default=None,
        optional=True,
        hint="As the maker states it for the string or pack; empty if he does not",
    )
    drop_share: float = quantity(
        "Wanted highest voltage drop",
        "%",
        0.001,
        0.2,
        default=DROP_SHARE,
        percent=True,
        hint="From the bank to the inverter at the highest current in discharge; 1 to 3 % is usual (typical, from "
        "memory)",
    )
    conductor_c: float = quantity(
        "Copper temperature",
        "°C",
        -40,
        150,
        default=CONDUCTOR_C,
        hint="At full current; 70 °C is the usual limit of PVC, 90 °C of XLPE (typical, from memory)",
    )

    def __post_init__(self) -> None:
        check(self)


def leg_ohm(length_m: float, area_mm2: float, conductor_c: float) -> float:
    """Resistance of both conductors of a run of copper [ohm].

    Parameters
    ----------
    length_m : float
        One way [m].
    conductor_c : float
        Temperature of the copper [degC].

    Examples
    --------
    >>> round(leg_ohm(5.0, 10.0, 20.0), 4)
    0.0172
    """
    per_m2 = RHO_20_OHM_M * (1.0 + ALPHA_20_PER_K * (conductor_c - 20.0))
    return per_m2 * 2.0 * length_m / (area_mm2 * 1e-6)


def awg_diameter_mm(number: int) -> float:
    """Diameter of a round wire of an AWG number [mm]; 0, -1, -2, -3 are 1/0 to 4/0 (published: ASTM B258).

    Examples
    --------
    >>> awg_diameter_mm(36), round(awg_diameter_mm(-3), 2)
    (0.127, 11.68)
    """
    return 0.127 * math.pow(92.0, (36 - number) / 39.0)


def awg_mm2(size: str) -> float:
    """Cross-section of an AWG size [mm²], rounded to 0.001.

    Raises
    ------
    InputError
        If the text is no such size.

    Examples
    --------
    >>> awg_mm2("2/0"), awg_mm2("AWG 00"), awg_mm2("4")
    (67.431, 67.431, 21.151)
    """
    found = _AWG.fullmatch(size.strip())
    if found is None:
        raise InputError("awg", f"AWG size must be from 40 to 1, or 1/0, 2/0, 3/0 or 4/0; got “{size.strip()}”.")
    aughts, zeros, plain = found.groups()
    number = 1 - int(aughts) if aughts else 1 - len(zeros) if zeros else int(plain)
    return round(math.pi / 4.0 * awg_diameter_mm(number) ** 2, 3)


def awg_name(area_mm2: float) -> str:
    """The usual AWG size that has this cross-section [mm²]; empty where none has.

    Examples
    --------
    >>> awg_name(67.431), awg_name(70.0)
    ('2/0', '')
    """
    return next((name for name in AWG_NAMES if abs(awg_mm2(name) - area_mm2) < _SAME_MM2), "")
