"""What there is to do about cells, and how often, in words: the reminders of the care of a bank."""

from __future__ import annotations

from dataclasses import dataclass

from engine.answers.care_bank import EQUALISE_EVERY_DAYS, EQUALISE_H, WATER_EVERY_DAYS, BankCare, LeadCare
from engine.answers.care_full import FULL_EVERY_DAYS
from webapp.render import NO_BREAK, figures, fixed
from webapp.words import counted, duration, short_date


@dataclass(frozen=True, slots=True, kw_only=True)
class Reminder:
    """One thing to do: what, when, and how."""

    what: str
    when: str
    how: str


def reminders(bank: BankCare) -> tuple[Reminder, ...]:
    """Everything to be done about a bank now and then."""
    if bank.lead is None:
        return (
            Reminder(
                what="Equalise, float, water",
                when="never",
                how="These cells are not equalised, not kept on float and not opened. Their board evens them out.",
            ),
        )
    lead = bank.lead
    return (_full(lead), _equalise(bank, lead), _water(bank, lead))


def _full(lead: LeadCare) -> Reminder:
    full = lead.full
    due = f"next by {short_date(full.due_on)}" if full.due_on is not None else "tell when it was last full"
    return Reminder(
        what="Charge it full",
        when=f"every {FULL_EVERY_DAYS} days; {due}",
        how=f"Hold it at its absorption volts until the current has fallen: the last part takes "
        f"{duration(full.finish_h)} whatever the charger gives. Once a week or so is typical, from memory.",
    )


def _equalise(bank: BankCare, lead: LeadCare) -> Reminder:
    charge = lead.equalise
    if charge is None:
        return Reminder(
            what="Equalise",
            when="never",
            how=f"{bank.chemistry} must not be equalised: it dries out or tears, and nothing can be put back. Switch "
            "that step of the charger off.",
        )
    (often, seldom), (short, long) = EQUALISE_EVERY_DAYS, EQUALISE_H
    here = (
        f"{charge.cell_v:g}{NO_BREAK}V per cell at 25{NO_BREAK}°C, {fixed(charge.here_pack_v, 1)}{NO_BREAK}V for the "
        "pack as warm as it is now"
    )
    return Reminder(
        what="Equalise",
        when=f"every {often} to {seldom} days" if charge.fits else "not on this inverter",
        how=f"{here}, for {short} to {long} hours after a full charge, or until the densities of the cells rise no "
        "more (typical, from memory; the maker’s sheet rules). Stay beside it. Air the room well, no flame or spark, "
        "goggles and gloves. Switch off every load that does not bear the volts. Stop when the cells grow hot.",
    )


def _water(bank: BankCare, lead: LeadCare) -> Reminder:
    if lead.water is None:
        return Reminder(
            what="Water",
            when="never",
            how="These cells are sealed: never open them. Water that too high a charge drives out is lost for good.",
        )
    low, high = lead.water.low_l_per_month, lead.water.high_l_per_month
    like = (
        f"Months like these days take about {amount(low)}, at most {amount(high)}, by the gas of their charge"
        if high > 0.0
        else "These days bring no hours of charge at the top, so hardly any is lost; a sunny month takes more"
    )
    return Reminder(
        what="Water",
        when=f"look every {WATER_EVERY_DAYS} days",
        how=f"{like}, all {counted(bank.series, 'cell')} together. Only deionised water, never acid; after charging, "
        "not before, unless plates stand dry; to the mark. Goggles and gloves: the acid burns.",
    )


def amount(litres: float) -> str:
    """Write an amount of water.

    Examples
    --------
    >>> amount(0.0421), amount(1.26)
    ('42\\xa0ml', '1.3\\xa0l')
    """
    return f"{figures(litres)}{NO_BREAK}l" if litres >= 1.0 else f"{figures(litres * 1000.0)}{NO_BREAK}ml"
