"""The way of a bank's energy from its label to the sockets, line by line [kWh]."""

from __future__ import annotations

from dataclasses import dataclass

from engine.house.bank import Bank, delivered, floor
from engine.house.inverter import Inverter
from engine.quantities import WH_PER_KWH


@dataclass(frozen=True, slots=True, kw_only=True)
class StepDown:
    """One line of the way from the label to the sockets: the change, what is left, and why."""

    label: str
    change_kwh: float
    left_kwh: float
    why: str


def _own_test(bank: Bank) -> tuple[str, float, str]:
    """The line of a bank that was tested: its name, what is left [kWh], and why."""
    tested_kwh = bank.series * bank.ah * bank.cell.v_nominal / WH_PER_KWH
    return "Your own test", tested_kwh, "tested Ah instead of label Ah, at nominal volts"


def step_down(bank: Bank, inverter: Inverter, mean_ac_w: float, mean_dc_w: float) -> tuple[StepDown, ...]:
    """List what stands between the label and the usable kWh at the sockets.

    Parameters
    ----------
    mean_ac_w : float
        Mean load at the sockets [W], the energy asked of the bank over the hours it is asked; with none the
        list ends at the terminals.
    mean_dc_w : float
        The same load as drawn from the bank's terminals, inverter's losses and idle included [W], > 0.
    """
    end = floor(bank, inverter, mean_dc_w)
    top = bank.top_reached_soc
    stored = bank.stored_kwh(0.0, 1.0)
    reserve = min(end.reserve_soc, top)
    reach = min(max(reserve, end.reach_soc), top)
    cutoff = min(max(reach, end.cutoff_soc), top)
    at_terminals, _ = delivered(bank, top, cutoff, mean_dc_w)
    in_window = bank.stored_kwh(cutoff, top)
    who = "board" if end.ends_by == "board" else "inverter"
    steps = [
        *([] if bank.tested_ah is None else [_own_test(bank)]),
        ("Real volts", stored, "the cell’s own voltage curve instead of nominal volts"),
        (
            "Charge ceiling",
            stored - bank.stored_kwh(top, 1.0),
            "what the charge setting and window leave unfilled",
        ),
        ("Reserve", bank.stored_kwh(reserve, top), "kept back, as you set it"),
        (
            "Cold and fast discharge",
            bank.stored_kwh(reach, top),
            "out of reach at this temperature and current",
        ),
        (f"Cut-off of the {who}", in_window, "reached under your mean load before the reserve"),
        ("Lost inside the cells", at_terminals, "resistance at your mean load"),
        (
            "Usable at the sockets",
            at_terminals * mean_ac_w / mean_dc_w,
            "the inverter’s conversion and idle draw taken off",
        ),
    ]
    if not mean_ac_w > 0.0:
        steps.pop()
    lines = [StepDown(label="Label", change_kwh=0.0, left_kwh=bank.label_kwh, why="label Ah × nominal volts")]
    for label, left_kwh, why in steps:
        lines.append(StepDown(label=label, change_kwh=left_kwh - lines[-1].left_kwh, left_kwh=left_kwh, why=why))
    return tuple(lines)
