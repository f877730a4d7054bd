"""Pack volts that somebody read on the night it went dark: whether they can be, and what a cause says they were."""

from __future__ import annotations

from engine.answers.dark_measure import Truth
from engine.answers.dark_night import Night
from engine.answers.dark_seen import AFTER, BEFORE, Seen
from engine.cells.chemistry import arrays
from engine.errors import InputError
from engine.house.bank import Bank, cutoff_cell_v
from engine.house.inverter import Inverter

VOLTS_ERROR_CELL_V = {AFTER: 0.012, BEFORE: 0.02}
"""Pack volts read after a dark or just before it, per cell: not rested, or falling (judgement)."""
SPAN_SHARE = 0.1
"""How far beyond empty and full a meter may read a pack, of those volts (choice)."""


def volts_span_v(bank: Bank, inverter: Inverter) -> tuple[float, float]:
    """Return the lowest and the highest volts that a pack may have shown as it went dark [V].

    From a tenth below the lower of rested and empty and the cut-off, to a tenth above the higher of full and charging.
    """
    ocv_v = arrays(bank.cell, bank.cell_c).ocv_v
    lowest = min(float(ocv_v[0]), bank.cell.v_low, cutoff_cell_v(bank, inverter))
    highest = max(float(ocv_v[-1]), bank.cell.v_charge)
    return (1.0 - SPAN_SHARE) * bank.series * lowest, (1.0 + SPAN_SHARE) * bank.series * highest


def check_volts(bank: Bank, inverter: Inverter, seen: Seen) -> None:
    """Refuse pack volts that this pack cannot have.

    Raises
    ------
    InputError
        On `volts_v`.
    """
    low_v, high_v = volts_span_v(bank, inverter)
    if seen.volts_v is not None and not low_v <= seen.volts_v <= high_v:
        raise InputError(
            "volts_v",
            f"Pack volts of {bank.name}, {bank.series} cells in series, must be from {low_v:.1f} to {high_v:.1f} V; "
            f"got {seen.volts_v:g} V. Read them at the pack itself: behind an open board a meter shows something else.",
        )


def volts_misfit(night: Night, truth: Truth) -> float:
    """Standard errors between the pack volts read and those of a truth; 0 where nobody read them."""
    if night.seen.volts_v is None:
        return 0.0
    return (night.seen.volts_v - predicted_volts_v(night, truth)) / volts_error_v(night)


def volts_error_v(night: Night) -> float:
    """Standard error of the pack volts read [V]."""
    return night.bank.series * VOLTS_ERROR_CELL_V[night.seen.volts_when]


def predicted_volts_v(night: Night, truth: Truth) -> float:
    """Pack volts when they were read, were that the truth [V]."""
    cell = night.loaded(truth.true_soc, night.power_w, truth.body)
    return night.bank.series * (cell.ocv_v - (0.0 if night.seen.volts_when == AFTER else cell.sag_v))
