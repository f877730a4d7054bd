"""What is said of a capacity that was counted: notices, the sum that can be followed, and what was assumed."""

from __future__ import annotations

from collections.abc import Iterator

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.measuring import Measured, plain
from engine.answers.measuring_discharge import Counted, Found, ended_cell_v, lowest_cell_v
from engine.house.bank import Bank
from engine.house.inverter import Inverter

LEAD_SOC = 0.5
"""Lead-acid is not taken below this (usual caution, typical, from memory)."""
COOL_C = 10.0
"""Cells colder than this are better tested on a warmer day (judgement)."""
FEW_SHARE, MANY_SHARE = 0.5, 1.2
"""Result over label outside which the counting is doubted first (judgement)."""
LEAST_SHARE, MOST_SHARE = 0.3, 1.5
"""Result over label outside which it is a slip of the counting and is not offered to be used (judgement)."""
WIDE_SHARE = 0.1
"""An error of more than this of the result is told as too wide to act on (judgement)."""


def believed(of_label: float) -> bool:
    """Whether a result, over its label, can be what cells hold."""
    return LEAST_SHARE <= of_label <= MOST_SHARE


def capacity_notices(
    bank: Bank, inverter: Inverter | None, run: Counted, found: Found, result: Measured
) -> tuple[Notice, ...]:
    """What to mind about a counted discharge."""
    return (*_too_low(bank, inverter, run), *_hard_on_cells(bank, run, found), *_hardly_believed(bank, result))


def _too_low(bank: Bank, inverter: Inverter | None, run: Counted) -> Iterator[Notice]:
    lowest_v, ended_v = lowest_cell_v(bank), ended_cell_v(bank, inverter, run)
    if ended_v is not None and ended_v < lowest_v - 1e-9:
        by = "The cut-off of " if run.stop == "cutoff" else ""
        first = "set the cut-off higher, and " if run.stop == "cutoff" else ""
        yield Notice(
            level="stop",
            code="capacity-low",
            text=f"{by}{ended_v * bank.series:.4g} V is {ended_v:.3g} V per cell, below the lowest these cells and "
            f"their board may be taken to, {lowest_v:g} V: that harms them, and a charge after it can be dangerous. "
            f"Never test so low; {first}follow the maker’s sheet before you charge them again. The result "
            "is not offered.",
        )


def _hard_on_cells(bank: Bank, run: Counted, found: Found) -> Iterator[Notice]:
    """A discharge deeper, colder or faster than is good for these cells."""
    cell = bank.cell
    if cell.acceptance_tau_h is not None and found.end_soc < LEAD_SOC - 0.02:
        yield Notice(
            level="check",
            code="capacity-lead",
            text=f"This took lead-acid down to {found.end_soc * 100:.0f} %. Deep discharges shorten its life: stop at "
            "half, let it rest some hours, read the volts, and charge it full at once.",
        )
    if run.cell_c < COOL_C:
        yield Notice(
            level="check",
            code="capacity-cold",
            text=f"Cells at {run.cell_c:g} °C hold back a part that only typical tables tell. Test again at 15 to "
            "30 °C before you believe it.",
        )
    if found.c_rate > cell.discharge_c_max:
        yield Notice(
            level="check",
            code="capacity-fast",
            text=f"A mean current of {plain(found.drawn_ah / run.hours)} A is above what these cells are meant for, "
            f"{plain(cell.discharge_c_max * found.ah)} A. Use a smaller load.",
        )


def _hardly_believed(bank: Bank, result: Measured) -> Iterator[Notice]:
    """A result unlike the label, or too wide to act on."""
    of_label = result.value / bank.label_ah
    if not FEW_SHARE <= of_label <= MANY_SHARE:
        beyond = (
            ""
            if believed(of_label)
            else f" Cells hold {LEAST_SHARE * 100:g} to {MOST_SHARE * 100:g} % of their label; beyond that the "
            "result is not offered to be used."
        )
        yield Notice(
            level="check",
            code="capacity-unlike",
            text=f"That is {of_label * 100:.0f} % of the label. Before you believe it look over the counting: was it "
            f"set to nothing at full, did the sun charge meanwhile, are the Ah those of the whole bank?{beyond}",
        )
    if result.half > WIDE_SHARE * result.value:
        largest = result.parts[0].label
        yield Notice(
            level="note",
            code="capacity-wide",
            text=f"An error of {result.half / result.value * 100:.0f} % is wide. The largest part is "
            f"{largest[:1].lower()}{largest[1:]}: mend that first.",
        )


def capacity_worked(bank: Bank, inverter: Inverter | None, run: Counted, found: Found) -> tuple[Worked, ...]:
    """The sum, to be followed with a pocket calculator."""
    lines = []
    if run.unit == "sockets" and found.dc_kwh is not None and inverter is not None:
        lines.append(
            Worked(
                label="Drawn from the bank",
                how=f"{plain(run.amount, 6)} kWh at the sockets, with {inverter.name}’s losses, its idle for "
                f"{run.hours:g} h",
                value=found.dc_kwh,
                unit="kWh",
            )
        )
    if found.dc_kwh is not None:
        lines.append(
            Worked(
                label="Ah drawn",
                how=f"{plain(found.dc_kwh, 4)} kWh × 1,000 ÷ {found.mean_v:.4g} V, the mean under this load",
                value=found.drawn_ah,
                unit="Ah",
            )
        )
    lines.append(Worked(label="It began at", how="where the charge ended", value=found.start_soc * 100.0, unit="%"))
    kept = run.stop in ("cutoff", "volts") and found.end_soc <= found.reach_soc + 1e-9 and found.reach_soc > 0.0
    how = "what cold and rate keep at the bottom" if kept else "the stop, on the curve"
    lines.append(Worked(label="It ended at", how=how, value=found.end_soc * 100.0, unit="%"))
    lines.append(
        Worked(
            label="The whole bank",
            how=f"{plain(found.drawn_ah, 4)} Ah ÷ ({found.start_soc * 100:.4g} − {found.end_soc * 100:.4g}) %",
            value=found.ah,
            unit="Ah",
        )
    )
    if bank.parallel > 1:
        lines.append(
            Worked(
                label="One cell",
                how=f"that ÷ {bank.parallel} strings in parallel",
                value=found.ah / bank.parallel,
                unit="Ah",
            )
        )
    return tuple(lines)


def capacity_assumptions(bank: Bank, run: Counted, inverter: Inverter | None) -> tuple[Assumption, ...]:
    """What was taken because nobody measured it."""
    cell = bank.cell
    found = []
    if run.accuracy_share is None:
        found.append(
            Assumption(
                name="What the counter may be off by",
                value="2 %" if run.unit == "sockets" else "1 %",
                kind="typical, from memory",
                source="a meter in a socket; a shunt",
            )
        )
    named = (("Rested volts and resistance", "ocv_v"), ("Capacity in the cold", "capacity_temperature"))
    for name, key in named:
        source = cell.source_of(key)
        if source is not None:
            found.append(Assumption(name=f"{name} of {cell.name}", value="", kind=source.kind, source=source.text))
    if run.unit == "sockets" and inverter is not None:
        found.append(
            Assumption(
                name=f"{inverter.name}: idle draw and losses",
                value=f"{inverter.idle_w:g} W idle",
                kind="assumed",
                source="as on Inverter, 30 and 20 % either way; measure the idle draw first",
            )
        )
    return tuple(found)
