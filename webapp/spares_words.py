"""What is to be said of a spare: its leads clipped to the bank's, its guessed charge, what it feeds itself."""

from __future__ import annotations

from engine.answers.answer import Notice
from engine.answers.coming import Coming
from engine.answers.spares_joining import EQUAL_V, Joining, Limit
from engine.answers.spares_parts import Spare, Spares
from engine.house.bank import Bank
from engine.house.cold import takes_none
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import duration, in_sentence

FLAT_SHARE = 0.05
"""Charge that equal volts leave open, from which it is told [-] (judgement)."""


def join_row(name: str, joined: Joining) -> tuple[str, str, str, str, str, str, str]:
    """One row of the leads clipped together."""
    tightest = min(joined.limits, key=lambda limit: limit.most_a / limit.amps if limit.amps else limit.most_a)
    return (
        name,
        _volts(joined.spare_v),
        _volts(joined.bank_v),
        _volts(abs(joined.difference_v)),
        f"{figures(joined.ohm * 1e3, 3)}{NO_BREAK}mΩ",
        _current(joined),
        f"{_figures_a(tightest.most_a)}: what {_part(tightest)}",
    )


def _current(joined: Joining) -> str:
    return f"{'at least' if joined.at_least else 'about'} {_figures_a(joined.amps)}"


def _part(limit: Limit) -> str:
    """What a limit is of: each string of a bank may take."""
    part = "each string" if limit.each_string else "the whole"
    return f"{part} of {in_sentence(limit.bank)} may {'take' if limit.taking else 'give'}"


def _figures_a(amps: float) -> str:
    return f"{figures(amps, 3)}{NO_BREAK}A"


def _volts(volts: float) -> str:
    return f"{fixed(volts, 2)}{NO_BREAK}V"


def even_line(spare: Spare, answer: Spares) -> str:
    """How much the charge of a spare may differ at equal volts."""
    if spare.joining is None or spare.joining.even_soc is None:
        return ""
    low, high = spare.joining.even_soc
    if high - low < FLAT_SHARE:
        return ""
    return (
        f"Within {EQUAL_V * 1e3:.0f}{NO_BREAK}mV of the volts of {in_sentence(answer.name)}, {in_sentence(spare.name)} "
        f"may hold anything from {fixed(low * 100)} to {percent(high)}: equal volts are not equal charge."
    )


def spare_notices(answer: Spares, one: Coming) -> list[Notice]:
    """Everything to mind about the spares, and about the bank where it may not be charged."""
    found = []
    for spare in answer.spares:
        found += [_joined(spare, answer), *_of_spare(spare, answer)]
    if any(spare.hindrance == "bank cold" for spare in answer.spares):
        found += [_takes_none(bank) for bank in one.supply.banks if takes_none(bank)]
    return found


def _takes_none(bank: Bank) -> Notice:
    return Notice(
        level="stop",
        code="spare-cold-bank",
        page="banks",
        text=f"{bank.name} takes no charge at {bank.cell_c:g} °C: its limits are {bank.charge_min_c:g} and "
        f"{bank.cell.charge_max_c:g} °C. Nothing is to be charged into it, by whatever means.",
    )


def _of_spare(spare: Spare, answer: Spares) -> list[Notice]:
    found = []
    if spare.guessed:
        found.append(
            Notice(
                level="check",
                code="spare-guess",
                text=f"Nobody said the charge of {spare.name}: {percent(spare.soc)} is a guess until you type it.",
            )
        )
    best = spare.best
    if best is not None and spare.joined_to and best.own_h is not None and best.own_h != spare.own_h:
        without = "past these days" if spare.own_h is None else duration(spare.own_h)
        found.append(
            Notice(
                level="check",
                code="spare-own-loads",
                text=f"{spare.name} has {spare.joined_to} to feed. Emptied into {answer.name} it lasts "
                f"{duration(best.own_h)} for that, instead of {without}.",
            )
        )
    if best is not None and spare.power_w < answer.means.power_w:
        found.append(
            Notice(
                level="note",
                code="spare-current",
                page="banks",
                text=f"From {spare.name} it is turned down to {fixed(spare.power_w)} W: more would pass the current "
                "that bank may give.",
            )
        )
    return found


def _within(joined: Joining) -> str:
    if joined.at_least:
        return "Their volts are equal as far as a hand meter tells, and how much more flows is not known"
    return "That is within what is entered for both"


def _joined(spare: Spare, answer: Spares) -> Notice:
    """What is to be said of clipping a spare to the bank."""
    names, joined = f"{spare.name} and {answer.name}", spare.joining
    if joined is None:
        return Notice(
            level="stop",
            code="spare-join",
            page="banks",
            text=f"Do not clip {names} together: more than two banks would meet, and what flows then is not worked "
            "out here.",
        )
    flows = (
        f"Their rested volts are {_volts(abs(joined.difference_v))} apart, and {_current(joined)} would flow at first"
    )
    if joined.level == "check":
        return Notice(
            level="check",
            code="spare-join",
            page="banks",
            text=f"{names} clipped together: {flows[0].lower()}{flows[1:]}. {_within(joined)}: it is no permission. "
            "Only at nearly equal volts, fused and through a disconnect, by someone qualified.",
        )
    reasons = []
    if joined.unlike:
        reasons.append("they differ in chemistry or in cells in series")
    if joined.too_cold:
        reasons.append(f"{joined.taker} may not be charged, or {joined.giver} not discharged, at its temperature")
    reasons += [
        f"{_part(limit)} {_figures_a(limit.most_a)}, and {_figures_a(limit.amps)} would flow in it"
        for limit in joined.limits
        if limit.passed
    ]
    if joined.unsure:
        reasons.append("it may be several times what is worked out here, as nobody entered the resistance of each cell")
    bus = f" On one bus they may not be: {'; '.join(joined.clashes)}." if joined.clashes else ""
    return Notice(
        level="stop",
        code="spare-join",
        page="banks",
        text=f"Never clip {names} together: {'; '.join(reasons)}. {flows}.{bus}",
    )
