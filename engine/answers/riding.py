"""The risk of a size: how often a bank of whole strings would have run empty in many winters, beside the own one.

What the page Winters answers at length, in two lines for the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.answers.winters import BankRow, Fitted, bank_row


@dataclass(frozen=True, slots=True, kw_only=True)
class Riding:
    """Two banks through the same winters: the one as it stands and the one that was asked for."""

    title: str
    basis: str
    years: int
    own: BankRow
    asked: BankRow


def riding(fit: Fitted, strings: int) -> Riding:
    """Count how often the bank as it stands and one of `strings` strings run empty.

    Parameters
    ----------
    fit : Fitted
        The supply on its winters.
    strings : int
        Strings of the bank asked about, 1 or more.
    """
    own = bank_row(fit, fit.supply.bank.parallel)
    return Riding(
        title=fit.hours.title,
        basis=fit.hours.basis,
        years=int(fit.hours.years.size),
        own=own,
        asked=own if strings == own.strings else bank_row(fit, strings),
    )
