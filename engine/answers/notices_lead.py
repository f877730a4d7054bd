"""What is dangerous about a lead-acid bank as it stands: acid that freezes, volts that its inverter does not bear."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from engine.answers.answer import Notice, Remedy
from engine.answers.care_bank import (
    NEAR_FREEZING_K,
    Equalise,
    FreezePoint,
    LeadVolts,
    freeze_point,
    lead_volts,
)
from engine.cells.chemistry import capacity_share
from engine.house.bank import Bank, c_rate, floor
from engine.house.cold import acid_frozen, is_lead
from engine.house.household import Household
from engine.house.inverter import Inverter
from engine.house.own_cell import with_own

FROZEN, NEAR_FROZEN = "acid-freezes", "acid-near-freezing"
ACID = frozenset({FROZEN, NEAR_FROZEN})
FAST_H, SLOW_H = 10.0, 100.0
"""Hours that labels of lead-acid give beside 20 (typical, from memory)."""
_EPS = 1e-9
_WHEN = {"now": "at its charge now", "lowest": "at its lowest in these days", "reserve": "down at its reserve"}


def lead_notices(bank: Bank, inverter: Inverter, mean_dc_w: float) -> Iterator[Notice]:
    """What holds whatever its charge is now: acid that freezes down at the reserve, volts that cold asks for.

    Parameters
    ----------
    mean_dc_w : float
        Mean power drawn from the bank [W], > 0.
    """
    if is_lead(bank):
        yield from _hours_notices(bank, mean_dc_w)
        yield from cold_lead_notices(bank, inverter, mean_dc_w)


def cold_lead_notices(bank: Bank, inverter: Inverter, mean_dc_w: float) -> Iterator[Notice]:
    """Acid of a lead-acid bank that freezes down at the reserve, and volts that cold asks for, as `lead_notices`."""
    yield from freezing_notices(bank, [freeze_point("reserve", floor(bank, inverter, mean_dc_w).soc)])
    yield from bears_notices(bank, lead_volts(bank), inverter)


def frozen_now_notices(household: Household, charges: Mapping[str, float]) -> Iterator[Notice]:
    """Joined banks whose acid is frozen at the charge that was told, by bank id [-]."""
    for supply in household.supplies():
        for bank in supply.banks:
            soc = charges.get(bank.id)
            if soc is not None and acid_frozen(bank, soc):
                yield from freezing_notices(bank, [freeze_point("now", soc)])


def _hours_notices(bank: Bank, mean_dc_w: float) -> Iterator[Notice]:
    """Ampere-hours off a label of which nobody has said for how many hours they are."""
    if bank.rated_h is not None or bank.tested_ah is not None or bank.cell.peukert_k == 1.0:
        return
    usual_h, drawn_c = bank.cell.rated_h, c_rate(bank, mean_dc_w)
    slow, usual = (capacity_share(with_own(bank.cell, h), bank.cell_c, drawn_c) for h in (SLOW_H, usual_h))
    remedies = tuple(
        Remedy(label=f"They are for {hours:g} hours", section="banks", item_id=bank.id, values={"rated_h": hours})
        for hours in (FAST_H, usual_h, SLOW_H)
    )
    yield Notice(
        level="check",
        code="label-hours",
        page="banks",
        text=f"{bank.name}: for how many hours are its {bank.label_ah:g} Ah? They are taken for {usual_h:g}. Lead-acid "
        f"gives the fewer the faster it is emptied: if the label says C{SLOW_H:g}, your mean load gets "
        f"{(1.0 - slow / usual) * 100:.0f} % less.",
        remedies=remedies,
    )


def freezing_notices(bank: Bank, points: Sequence[FreezePoint]) -> Iterator[Notice]:
    """The first charge at which the acid freezes, or comes near it."""
    worst = max(points, key=lambda point: point.freezes_c)
    frozen = next((point for point in points if bank.cell_c <= point.freezes_c), None)
    if frozen is not None:
        yield Notice(
            level="stop",
            code=FROZEN,
            page="banks",
            text=f"{bank.name}: {_WHEN[frozen.when]}, {frozen.soc * 100:.0f} %, its acid freezes at "
            f"{frozen.freezes_c:.0f} °C and the cells are at {bank.cell_c:g} °C. Ice breaks plates and cases. Never "
            "charge a frozen battery: it can burst. Warm it first, and keep it full.",
        )
    elif bank.cell_c <= worst.freezes_c + NEAR_FREEZING_K:
        yield Notice(
            level="check",
            code=NEAR_FROZEN,
            page="banks",
            text=f"{bank.name}: {_WHEN[worst.when]}, {worst.soc * 100:.0f} %, its acid freezes at "
            f"{worst.freezes_c:.0f} °C; the cells are at {bank.cell_c:g} °C. Keep it fuller or warmer.",
        )


def bears_notices(bank: Bank, volts: LeadVolts, inverter: Inverter) -> Iterator[Notice]:
    """Volts that are right at this temperature and too high for the inverter, though those set are not."""
    if volts.set_cell_v * bank.series <= inverter.dc_max_v + _EPS < volts.here_pack_v:
        yield Notice(
            level="stop",
            code="compensated-over-inverter",
            page="inverter",
            text=f"{bank.name}: at {bank.cell_c:g} °C a charger with a temperature sensor goes to "
            f"{volts.here_pack_v:.1f} V; {inverter.name} ends at {inverter.dc_max_v:g} V and can be damaged. Limit the "
            "charger to less, and charge longer instead.",
        )


def equalise_notices(bank: Bank, charge: Equalise | None) -> Iterator[Notice]:
    """An equalising charge that the inverter does not bear."""
    if charge is not None and not charge.fits:
        yield Notice(
            level="stop",
            code="equalise-over-inverter",
            page="inverter",
            text=f"{bank.name}: do not equalise it on {charge.inverter}: at {bank.cell_c:g} °C that takes "
            f"{charge.here_pack_v:.1f} V, and the inverter ends at {charge.inverter_max_v:g} V and can be damaged. "
            "Only with the inverter and everything else on the bus disconnected by someone qualified.",
        )
