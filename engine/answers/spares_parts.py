"""What the answer about spare banks is made of, and the lines in which it can be followed by hand.

Hours count from the moment asked about, energy is kWh, charge a share of tested Ah.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Assumption, Worked
from engine.answers.spares_joining import LEADS_MOHM, Joining, Leads
from engine.answers.spares_moving import Course, Move
from engine.answers.spares_sources import DEVICE_EFFICIENCY, DEVICE_W, Means

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spare:
    """One spare and what it is worth.

    Attributes
    ----------
    joined_to : str
        Name of the inverter it is on; empty where it is on none.
    guessed : bool
        Whether nobody said its charge.
    above_kwh : float
        Stored above its reserve or cut-off [kWh].
    hindrance : str
        Why nothing can be moved: ``stop``, ``bank cold``, ``spare cold``, ``volts``, ``empty``; empty where it can.
    power_w : float
        What the device gives, turned down to the spare's limit of current where need be [W].
    moves : tuple of Move
        The starts that were tried, the best first.
    matters : bool
        Whether it makes a difference when it is begun.
    joining : Joining or None
        The leads clipped together; None where more than two banks would meet.
    own_h : float or None
        Hours its own loads last without it; None past the days or where it has none.
    """

    bank_id: str
    name: str
    joined_to: str
    soc: float
    guessed: bool
    above_kwh: float
    hindrance: str
    power_w: float
    moves: tuple[Move, ...]
    matters: bool
    joining: Joining | None
    own_h: float | None

    @property
    def best(self) -> Move | None:
        """The start that gains most; None where nothing can be moved."""
        return self.moves[0] if self.moves else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """The same days read darker or brighter: hours without and with the best spare; None past the days."""

    lasts_h: float | None
    with_it_h: float | None
    gained_h: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spares:
    """The answer for one bank or those on one bus.

    Attributes
    ----------
    hours : float or None
        How long it lasts as it is; None past the days.
    spares : tuple of Spare
        In the order of what they gain.
    readings : tuple of Reading
        The darker and the brighter reading of the days with the best start of the first spare, where they differ.
    times_h, soc, soc_then : (n + 1,) arrays
        Charge as it is, and with the best start of the first spare.
    """

    at: datetime
    bank_id: str
    name: str
    hours: float | None
    means: Means
    leads: Leads
    spares: tuple[Spare, ...]
    readings: tuple[Reading, ...]
    floor_soc: float
    times_h: Floats
    soc: Floats
    soc_then: Floats
    worked: tuple[Worked, ...]

    @property
    def best(self) -> Move | None:
        """The best start of the first spare; None where nothing can be moved."""
        return self.spares[0].best if self.spares else None


def joining_lines(joined: Joining) -> tuple[Worked, ...]:
    """The first current, step by step."""
    return (
        Worked(
            label="Rested volts of the spare", how="its curve at its charge × cells", value=joined.spare_v, unit="V"
        ),
        Worked(label="Rested volts of the bank", how="its curve at its charge × cells", value=joined.bank_v, unit="V"),
        Worked(label="Difference", how="higher − lower", value=abs(joined.difference_v), unit="V"),
        Worked(label="Spare", how="cells × Ω of a cell ÷ strings", value=joined.spare_ohm * 1e3, unit="mΩ"),
        Worked(label="Bank", how="cells × Ω of a cell ÷ strings", value=joined.bank_ohm * 1e3, unit="mΩ"),
        Worked(label="Leads and contacts", how="as said", value=joined.leads_ohm * 1e3, unit="mΩ"),
        Worked(label="First current", how="difference ÷ sum of the three", value=joined.amps, unit="A"),
    )


def own_assumptions(answer: Spares) -> tuple[Assumption, ...]:
    """What this answer takes beside the cells and the days though nobody measured it here."""
    found = [
        Assumption(name=f"{one.name}: charge", value=f"{one.soc * 100:g} %", kind="assumed", source="half, until typed")
        for one in answer.spares
        if one.guessed
    ]
    usual = (
        ("Charger or converter", f"{DEVICE_W:g} W", answer.means.power_w == DEVICE_W, "one that two people carry"),
        (
            "Its efficiency",
            f"{DEVICE_EFFICIENCY * 100:g} %",
            answer.means.efficiency == DEVICE_EFFICIENCY,
            "inverter and charger, or converter, together",
        ),
        ("Leads and contacts", f"{LEADS_MOHM:g} mΩ", answer.leads.leads_mohm == LEADS_MOHM, "two leads with lugs"),
    )
    found += [
        Assumption(name=name, value=value, kind="typical, from memory", source=source)
        for name, value, so, source in usual
        if so
    ]
    return tuple(found)


def moving_lines(before: Course, spare: Spare, best: Move, means: Means) -> tuple[Worked, ...]:
    """What goes over and what it gains, step by step."""
    rows = [
        Worked(
            label="It gives",
            how=f"{spare.power_w:.4g} W × {best.ran_h:.4g} h, less where the bank takes no more",
            value=best.into_kwh,
            unit="kWh",
        ),
        Worked(
            label="The device loses",
            how=f"what it gives × (1 ÷ {means.efficiency:g} − 1)",
            value=best.device_loss_kwh,
            unit="kWh",
        ),
    ]
    if best.cell_loss_kwh is not None:
        rows.append(
            Worked(
                label="The spare loses",
                how="in its own cells and by leaking until it is done",
                value=best.cell_loss_kwh,
                unit="kWh",
            )
        )
    rows.append(
        Worked(
            label="Out of the spare",
            how="read off its own curve" if best.cell_loss_kwh is not None else "at its terminals: sum of the above",
            value=best.taken_kwh,
            unit="kWh",
        )
    )
    for label, hours in (("It lasts as it is", before.lasts_h), ("It lasts with the spare", best.lasts_h)):
        if hours is not None:
            rows.append(Worked(label=label, how="from now to the reserve or a cut-off", value=hours, unit="h"))
    if before.lasts_h is not None and best.gained_h is not None:
        rows.append(Worked(label="Gained", how="difference of the two", value=best.gained_h, unit="h"))
    return tuple(rows)
