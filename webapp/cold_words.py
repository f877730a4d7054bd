"""What cold does to a bank, in words: the same on every page that answers."""

from __future__ import annotations

from engine.answers.cold_bank import ROOM_C, ColdBank
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import energy, in_sentence, listed

AMP_FIGURES = 3
LEAST_TOLD_KWH = 0.05
"""A refusal that is smaller is told as none (choice)."""
WARM_FIRST = "Warm the cells before they are charged; the maker’s sheet rules."


def degrees(celsius: float) -> str:
    """Write a temperature with its unit and no false digits.

    Examples
    --------
    >>> degrees(-3.0), degrees(2.5)
    ('−3\\xa0°C', '2.5\\xa0°C')
    """
    return f"{fixed(celsius, 0 if celsius == round(celsius) else 1)}{NO_BREAK}°C"


def amps(ampere: float) -> str:
    """Write a current with its unit.

    Examples
    --------
    >>> amps(42.04), amps(0.0)
    ('42.0\\xa0A', '0\\xa0A')
    """
    return f"{fixed(ampere) if ampere >= 100.0 else figures(ampere, AMP_FIGURES)}{NO_BREAK}A"


def takes(bank: ColdBank) -> str:
    """What a bank takes at its temperature, as a clause; empty where it takes all."""
    if bank.too_cold and not bank.stated:
        from_c = degrees(bank.charge_min_c)
        return f"takes no charge that is counted (below {from_c} its limit is not stated: ask the maker)"
    if bank.too_cold:
        return f"takes no charge (it may from {degrees(bank.charge_min_c)} on)"
    return f"takes {amps(bank.now.charge_a)} instead of {amps(bank.full_a)}" if bank.held_back else ""


def holds(bank: ColdBank) -> str:
    """What capacity a bank has at its temperature, as a clause."""
    if not bank.now.capacity_share:
        return "gives nothing at all"
    told = f"holds {percent(bank.now.capacity_share)} of its {degrees(ROOM_C)} capacity"
    return (
        f"{told} or less (counted as at {degrees(bank.known_from_c)}, the coldest known)" if bank.beyond_known else told
    )


def beyond_known(bank: ColdBank, coldest_c: float) -> str:
    """Say which rows of a table down to a temperature are beyond what is known; empty where none is."""
    if coldest_c >= bank.known_from_c:
        return ""
    known = degrees(bank.known_from_c)
    return (
        f"Nothing is known of the capacity of these cells below {known}: what stands there is that of {known}, and the "
        "truth is less."
    )


def cold_sentence(bank: ColdBank, refused_kwh: float = 0.0) -> str:
    """Say what a bank takes and holds at its temperature, and what cold refuses in the days of an answer."""
    clauses = listed([clause for clause in (takes(bank), holds(bank)) if clause])
    refused = f"; cold refuses {energy(refused_kwh)} in these days" if refused_kwh >= LEAST_TOLD_KWH else ""
    first = f" {WARM_FIRST}" if bank.too_cold else ""
    return f"At {degrees(bank.now.cell_c)} {in_sentence(bank.name)} {clauses}{refused}.{first}"


def together(name: str, refused_kwh: float) -> str:
    """Say what cold refuses of banks that share a bus; empty where it is nothing."""
    return f"Cold refuses {energy(refused_kwh)} of {name} in these days." if refused_kwh >= LEAST_TOLD_KWH else ""
