"""The form of Charge volts: its fields for one bank, and volts that are no cell's but may be the pack's."""

from __future__ import annotations

import dataclasses

from engine.answers.answer import Notice, Remedy
from engine.answers.charging import ASKED
from engine.answers.charging_current import CHARGE_CURRENT
from engine.answers.charging_targets import HIGH_SOC, LOW_SOC
from engine.fields import Quantity
from engine.house.bank import Bank
from engine.house.household import Household
from engine.house.inverter import Inverter
from webapp.forms import Field, number_field
from webapp.questions import MONTH_CHOICES
from webapp.standing import bank_in_use

MOST_PACK_V = 1500.0
VOLTS = Quantity(label="Charge ends at", unit="V per cell", low=0.5, high=MOST_PACK_V)
TAIL = Quantity(label="Hold until it falls to", unit="A", low=0.0, high=1.0, optional=True)
MINUTES = Quantity(
    label="Or hold for", unit="minutes", low=0, high=2880, optional=True, hint="Goes before the tail current"
)
LOAD = Quantity(label="Load", unit="kW", low=0.001, high=1000, optional=True, hint="For the sag. Empty: your mean load")
BENCH = dataclasses.replace(
    ASKED["bench_c"], hint="C is current over capacity: 0.5C fills or empties a cell in two hours, 0.1C in ten"
)
BENCH_C = 0.5
HELD = (("yes", "hold these volts"), ("no", "stop, no hold"))
NO_INVERTER = "none"
FINER = ("charge_a", "tail_a", "minutes", "bench_c", "load_kw", "low", "high", "inverter", "month")
"""Fields that stand folded until one of them is asked."""
EVEN_V = 0.005
"""Pack volts that come this close above a cell's highest still fit it [V per cell]: chargers are set to tenths."""


def bank_of(house: Household, bank_id: str) -> tuple[Bank | None, dict[str, str]]:
    """Return the bank asked about, joined or not, the first where none is named, and what is wrong with its id."""
    if not house.banks or not bank_id:
        return bank_in_use(house), {}
    for bank in house.banks:
        if bank.id == bank_id:
            return bank, {}
    has = ", ".join(bank.name for bank in house.banks)
    return bank_in_use(house), {"bank": f"Bank cannot be “{bank_id}”; choose from: {has}."}


def inverter_of(house: Household, inverter_id: str) -> Inverter | None:
    """Return the inverter asked about; None for none."""
    return next((one for one in house.inverters if one.id == inverter_id), None)


def charge_fields(house: Household, bank: Bank, month: int) -> tuple[Field, ...]:
    """Return the fields of the question about a bank, filled with how it is set."""
    cell = bank.cell
    tail = dataclasses.replace(TAIL, low=round(0.001 * bank.ah, 4), high=round(bank.ah, 2))
    return (
        Field(name="bank", label="Bank", kind="hidden", default=bank.id),
        number_field(
            "volts",
            VOLTS,
            default=bank.charge_end_cell_v,
            hint=f"{cell.v_low:g} to {cell.v_max:g}; × {bank.series} for the pack",
        ),
        Field(
            name="hold",
            label="There the charger is to",
            kind="choice",
            choices=HELD,
            default="yes" if bank.hold else "no",
            hint="A hold (“absorption”) keeps the volts while the current falls",
        ),
        number_field("charge_a", CHARGE_CURRENT),
        number_field(
            "tail_a", tail, hint=f"The “tail current”. Empty: {cell.tail_c:.2g}C, here {cell.tail_c * bank.ah:.3g} A"
        ),
        number_field("minutes", MINUTES),
        number_field("bench_c", BENCH, default=BENCH_C),
        number_field("load_kw", LOAD),
        number_field("low", dataclasses.replace(LOW_SOC, hint="A narrow window, from such as 20")),
        number_field("high", dataclasses.replace(HIGH_SOC, hint="to such as 80, and what it costs")),
        *_inverter_field(house, bank),
        Field(name="month", label="Sun and loads of", kind="choice", choices=MONTH_CHOICES, default=str(month)),
    )


def _inverter_field(house: Household, bank: Bank) -> tuple[Field, ...]:
    """The choice of an inverter: the bank's own, the first for a bank that is joined to none."""
    if not house.inverters:
        return ()
    choices = (*((one.id, one.name) for one in house.inverters), (NO_INVERTER, "No inverter"))
    return (
        Field(
            name="inverter",
            label="Against the inverter",
            kind="choice",
            choices=choices,
            default=bank.inverter or house.inverters[0].id,
        ),
    )


def out_of_span(bank: Bank, volts: float) -> tuple[str, tuple[Notice, ...]]:
    """Return what is wrong with volts that no cell has; a check offers the division where they fit as pack volts.

    Parameters
    ----------
    volts : float
        As typed, meant per cell [V].
    """
    cell = bank.cell
    if cell.v_low < volts <= cell.v_max:
        return "", ()
    per_cell = volts / bank.series
    if volts > cell.v_max and cell.v_low < per_cell <= cell.v_max + EVEN_V:
        meant = f"{min(per_cell, cell.v_max):.3f}".rstrip("0").rstrip(".")
        check = Notice(
            level="check",
            code="pack-volts",
            text=f"{volts:g} V is no cell’s. Are these the volts of the whole pack? Over {bank.series} cells in "
            f"series that is {meant} V per cell.",
            remedies=(Remedy(label=f"Ask about {meant} V per cell", query={"volts": meant}),),
        )
        return f"{volts:g} V is not the volts of one cell: type volts per cell.", (check,)
    if cell.v_low < volts <= ASKED["cell_v"].high:
        return "", ()
    return (
        f"Charge ends at must be above {cell.v_low:g} and at most {cell.v_max:g} V per cell for {cell.name}; "
        f"got {volts:g} V. Pack volts are divided by {bank.series} cells.",
        (),
    )
