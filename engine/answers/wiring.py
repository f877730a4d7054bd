"""Whether cables and fuses between each bank and its inverter suit what flows: a check, never an approval.

Volts are of the whole pack, currents amperes; what a cable may carry is typed from the local code's table.
Not modelled: surges of seconds, lugs and joints, heat of cables side by side, sharing between unlike strings.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from engine.answers.answer import KEPT_ANSWERS, Assumption, Notice, Worked, cell_title, said_once, supplies_of
from engine.answers.notices import household_notices
from engine.answers.notices_bank import board_current_notices
from engine.answers.notices_wiring import PAGE, questions, wiring_checks, wiring_stops
from engine.answers.wiring_parts import A_PER_KA, BankWiring, Run, wired
from engine.house.bank import Bank
from engine.house.household import Household
from engine.house.wiring import ALPHA_20_PER_K, CONDUCTOR_C, DROP_SHARE, RHO_20_OHM_M, Wiring

ALSO_HERE = frozenset(
    {
        "no-board",
        "over-60-v",
        "over-inverter",
        "over-charge-setting",
        "outside-inverter",
        "board-opens",
        "board-below-inverter",
        "charger-over-bank",
        "generator-charger-over-bank",
        "generator-and-sun-over-bank",
        "bus-clash",
        "bus-no-fuse",
        "bus-joining",
    }
)
"""Notices of other pages that belong to the wiring as well."""
LIMITS = ("v_max", "discharge_c_max", "charge_c_max")
"""Fields of a cell that this answer rests on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BankAnswer:
    """One bank: its figures, the codes of its stops and checks, the lines to follow it by hand, and what to ask."""

    wiring: BankWiring
    stops: tuple[str, ...]
    checks: tuple[str, ...]
    worked: tuple[Worked, ...]
    questions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WiringAnswer:
    """The wiring of every bank that is joined to an inverter."""

    banks: tuple[BankAnswer, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]
    lithium: bool
    hydrogen: bool


@lru_cache(maxsize=KEPT_ANSWERS)
def wiring(household: Household, month: int) -> WiringAnswer:
    """Check the wiring of every bank that is joined to an inverter.

    Parameters
    ----------
    month : int
        Month whose loads the household's own notices take, 1..12.

    Raises
    ------
    Unreachable
        If no bank is joined to an inverter, saying what to enter first.
    """
    supplies = supplies_of(household)
    found = [(wired(household, supply, bank), supply, bank) for supply in supplies for bank in supply.banks]
    notices = [one for one in household_notices(household, month) if one.page == PAGE or one.code in ALSO_HERE]
    for one, supply, bank in found:
        if supply.beside:
            notices += board_current_notices(bank, supply.inverter, [0.0])
        notices += wiring_checks(one)
    banks = tuple(
        BankAnswer(
            wiring=one,
            stops=tuple(stop.code for stop in wiring_stops(one)),
            checks=tuple(check.code for check in wiring_checks(one)),
            worked=_worked(one),
            questions=questions(one),
        )
        for one, _, _ in found
    )
    cells = [bank.cell for _, _, bank in found]
    return WiringAnswer(
        banks=banks,
        notices=said_once(notices),
        assumptions=tuple(_assumptions([one for one, _, _ in found], [bank for _, _, bank in found])),
        lithium=any(cell.needs_board for cell in cells),
        hydrogen=any(cell.vents_hydrogen for cell in cells),
    )


def _worked(one: BankWiring) -> tuple[Worked, ...]:
    return (*_current_lines(one), *(line for run in one.runs for line in _run_lines(one, run)), *_fault_lines(one))


def _current_lines(one: BankWiring) -> Iterator[Worked]:
    how = "continuous power with the inverter’s losses and idle draw"
    if one.beside_w > 0.0:
        how += f", and {one.beside_w:,.0f} W of loads at the battery, all running at once"
    yield Worked(label="Drawn at full power", how=how, value=one.drawn_w, unit="W")
    whose = "the inverter’s cut-off" if one.lowest_by == "inverter" else "the board’s lowest cell volts × cells"
    yield Worked(label="Lowest volts under load", how=f"{whose}, the higher of both", value=one.lowest_v, unit="V")
    over = one.drawn_w / one.discharge_a
    how = "power ÷ lowest volts"
    if over < one.lowest_v - 0.005:
        how = f"power ÷ {over:.4g} V, which the inverter sees behind the cables, or its cut-off"
    yield Worked(label="Highest current in discharge", how=how, value=one.discharge_a, unit="A")
    for charger in one.chargers:
        yield Worked(label=charger.name, how=charger.how, value=charger.rough_a, unit="A")
    if one.chargers:
        yield Worked(label="Highest current in charge", how="all of them at once", value=one.charge_rough_a, unit="A")
    yield Worked(label="Rules the main cable and its fuse", how="the higher of both", value=one.ruling_a, unit="A")
    if one.parallel > 1:
        yield Worked(label="A string, all sharing", how=f"÷ {one.parallel} strings", value=one.even_a, unit="A")
        yield Worked(label="A string, one dropped out", how=f"÷ {one.parallel - 1}", value=one.one_out_a, unit="A")


def _run_lines(one: BankWiring, run: Run) -> Iterator[Worked]:
    name = "Main cable" if run.place == "main" else "Cable of a string"
    conductor_c = (one.wiring or Wiring()).conductor_c
    rho = RHO_20_OHM_M * (1.0 + ALPHA_20_PER_K * (conductor_c - 20.0))
    yield Worked(
        label=f"{name}: both conductors",
        how=f"{rho * 1e8:.4f} × 10⁻⁸ Ω m × 2 × {run.leg.length_m:g} m ÷ {run.leg.area_mm2:g} mm²",
        value=run.ohm * 1e3,
        unit="mΩ",
    )
    yield Worked(label=f"{name}: drop", how=f"× {run.drop_a:.4g} A in discharge", value=run.drop_v, unit="V")
    how = f"× ({run.current_a:.4g} A)², the highest current"
    yield Worked(label=f"{name}: lost as heat", how=how, value=run.lost_w, unit="W")


def _fault_lines(one: BankWiring) -> Iterator[Worked]:
    fault = one.fault
    if fault.string_a is not None and fault.bank_a is not None:
        yield Worked(label="Short of one string", how=fault.how, value=fault.string_a / A_PER_KA, unit="kA")
        yield Worked(
            label="Short of the bank", how=f"× {one.parallel} in parallel", value=fault.bank_a / A_PER_KA, unit="kA"
        )
    if one.shared and fault.known_a > 0.0:
        whole = "all banks on the bus" if fault.bus_a is not None else "banks on the bus whose current is known"
        yield Worked(label="Short of the bus", how=whole, value=fault.known_a / A_PER_KA, unit="kA")


def _assumptions(found: list[BankWiring], banks: list[Bank]) -> Iterator[Assumption]:
    yield Assumption(
        name="Copper: resistivity at 20 °C",
        value=f"{RHO_20_OHM_M * 1e8:g} × 10⁻⁸ Ω m",
        kind="published",
        source=f"annealed copper of 100 % IACS (IEC 60028), rising by {ALPHA_20_PER_K * 100:g} % of that for each K",
    )
    yield Assumption(
        name="Strands, lugs and joints",
        value="",
        kind="published",
        source="not counted. Stranded wire mostly has some 2 % more; at most IEC 60228 allows stranded cable (class 2) "
        "12 % more than this, flexible cable (class 5) 16 % more. Lugs and joints come on top",
    )
    if any(one.wiring is None or one.wiring.drop_share == DROP_SHARE for one in found):
        yield Assumption(
            name="Wanted highest voltage drop",
            value=f"{DROP_SHARE * 100:g} %",
            kind="typical, from memory",
            source="1 to 3 % between bank and inverter; type your own",
        )
    if any(one.wiring is None or one.wiring.conductor_c == CONDUCTOR_C for one in found):
        yield Assumption(
            name="Copper temperature",
            value=f"{CONDUCTOR_C:g} °C",
            kind="typical, from memory",
            source="at full current, the limit of PVC insulation; type your own",
        )
    yield Assumption(
        name="Highest current",
        value="",
        kind="assumed",
        source="continuous power at the lowest volts, and every charger at its most at once; the voltage drop is "
        "that of discharge, all that the inverter’s cut-off sees. Surges of seconds are not counted: the fuse’s own "
        "curve of time and current has to let them pass. A code may ask for a margin on top, such as a quarter for "
        "loads of hours",
    )
    yield Assumption(
        name="Short-circuit current",
        value="",
        kind="assumed",
        source="cells at their highest volts through their 1 kHz resistance alone, cables left out: the real one is "
        "mostly lower, but a warm or new cell may give more",
    )
    for cell in {bank.cell.id: bank.cell for bank in banks}.values():
        for names, source in cell.sources.items():
            if set(names.split()) & set(LIMITS):
                yield Assumption(name=cell_title(cell, names), value="", kind=source.kind, source=source.text)
