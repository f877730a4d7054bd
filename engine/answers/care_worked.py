"""The care of a bank as lines that can be followed with a pocket calculator."""

from __future__ import annotations

from collections.abc import Iterator

from engine.answers.answer import Worked
from engine.answers.care_bank import Air, BankCare, LeadCare, rated_ah
from engine.cells import lead_acid
from engine.cells.lead_acid import LEAD_C, LEAD_V_PER_C
from engine.house.bank import Bank


def care_worked(bank: Bank, found: BankCare, named: bool) -> Iterator[Worked]:
    """Lines of one bank, with its name where there are several."""
    of = f" of {bank.name}" if named else ""
    if found.lead is not None:
        yield from _volts(bank, found.lead, of)
        yield from _full(bank, found.lead, of)
        yield from _freezing(found.lead, of)
        yield from _water(bank, found.lead, of)
        if found.lead.air is not None:
            yield from _air(bank, found.lead.air, of)
    if found.cold is not None and found.cold.now_a is not None:
        yield Worked(
            label=f"Charge current at {bank.cell_c:g} °C{of}",
            how=f"of {found.cold.full_a:.4g} A when warm, by the cold current entered or the lowest temperature",
            value=found.cold.now_a,
            unit="A",
        )


def _volts(bank: Bank, lead: LeadCare, of: str) -> Iterator[Worked]:
    yield Worked(
        label=f"Absorption volts at {bank.cell_c:g} °C{of}",
        how=f"({lead.volts.set_cell_v:g} V − {LEAD_V_PER_C:g} V × ({bank.cell_c:g} − {LEAD_C:g})) × "
        f"{bank.series} cells",
        value=lead.volts.here_pack_v,
        unit="V",
    )
    if lead.equalise is not None:
        yield Worked(
            label=f"Equalising volts at {bank.cell_c:g} °C{of}",
            how=f"({lead.equalise.cell_v:g} V − {LEAD_V_PER_C:g} V × ({bank.cell_c:g} − {LEAD_C:g})) × "
            f"{bank.series} cells",
            value=lead.equalise.here_pack_v,
            unit="V",
        )


def _full(bank: Bank, lead: LeadCare, of: str) -> Iterator[Worked]:
    full = lead.full
    yield Worked(
        label=f"Hours to finish{of}",
        how=f"held from {full.finish_from_soc * 100:.0f} to {full.full_soc * 100:.0f} % while the current falls to "
        f"{bank.cell.tail_c * bank.ah:.3g} A",
        value=full.finish_h,
        unit="h",
    )
    yield Worked(
        label=f"To put in until full{of}",
        how=f"from the charge now to {full.full_soc * 100:.0f} % of {bank.ah:.4g} Ah, over the charge efficiency on "
        "the way",
        value=full.missing_ah,
        unit="Ah",
    )


def _freezing(lead: LeadCare, of: str) -> Iterator[Worked]:
    for point in lead.freezing:
        yield Worked(
            label=f"Acid freezes at {point.soc * 100:.0f} %{of}",
            how=f"density {point.density:.3f} by the charge; freezing point of that density",
            value=point.freezes_c,
            unit="°C",
        )


def _water(bank: Bank, lead: LeadCare, of: str) -> Iterator[Worked]:
    if lead.water is None:
        return
    grams = lead_acid.water_g_per_ah()
    boost, floats = bank.cell.gas_boost_ma_per_ah or 0.0, bank.cell.gas_float_ma_per_ah or 0.0
    yield Worked(
        label="Water an Ah splits in a cell",
        how=f"{lead_acid.WATER_G_PER_MOL:g} g × 3,600 s ÷ (2 × {lead_acid.FARADAY_C_PER_MOL:,.0f} C)",
        value=grams,
        unit="g",
    )
    yield Worked(
        label=f"Water at most in these days{of}",
        how=f"{bank.series} cells × {rated_ah(bank):g} Ah × ({boost:g} mA × {lead.full.absorb_h:.3g} h + {floats:g} mA "
        f"× {lead.full.held_h:.3g} h) ÷ 1,000 × {grams:.3g} g",
        value=lead.water.high_g,
        unit="g",
    )
    yield Worked(
        label=f"As is usual{of}",
        how=f"that over the factor of {lead_acid.GAS_SAFETY:g} within these currents",
        value=lead.water.low_g,
        unit="g",
    )


def _air(bank: Bank, air: Air, of: str) -> Iterator[Worked]:
    gas = (
        ("on float", bank.cell.gas_float_ma_per_ah, air.float_m3_h),
        ("while charged", bank.cell.gas_boost_ma_per_ah, air.boost_m3_h),
    )
    for when, current, value in gas:
        yield Worked(
            label=f"Air {when}{of}",
            how=f"{lead_acid.AIR_FACTOR:g} × {bank.series} cells × {current:g} mA × {rated_ah(bank):g} Ah ÷ 1,000",
            value=value,
            unit="m³/h",
        )
    yield Worked(
        label=f"Opening{of}",
        how=f"{lead_acid.OPENING_CM2_PER_M3_H:g} × {air.boost_m3_h:.3g} m³/h, for inlet and outlet each",
        value=air.boost_cm2,
        unit="cm²",
    )
