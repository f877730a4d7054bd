"""Measured against predicted in sentences: what was more and what was less, over which days, and how sure that is."""

from __future__ import annotations

from datetime import date

from markupsafe import Markup

from engine.answers.checking import Checking
from engine.answers.checking_load import LoadCheck
from engine.answers.checking_parts import Errors
from engine.answers.checking_yield import YieldCheck
from webapp.render import NO_BREAK, fixed, percent
from webapp.words import MONTHS, counted

AS_MUCH = 0.005
"""Under half a percent is “as much as”."""
SIDES = {"sockets": "at the sockets", "battery": "at the battery side"}
REFERENCES = {"same day": "of the very days", "average days": "of average days"}


def sentence(answer: Checking) -> Markup:
    """Say how the panels and the house came out against the model."""
    parts = []
    if answer.yields is not None:
        parts.append(_panels(answer.yields))
    if answer.loads:
        parts.append(_house(answer.loads[0]))
    if not parts and answer.charge is not None:
        parts.append(Markup("the charge was out by <strong>{}</strong>").format(points(answer.charge.mean_error_soc)))
    if not parts:
        return Markup("The log has <strong>no whole day</strong> that could be compared.")
    days = counted(_days(answer), "day")
    return Markup("Over {} ").format(days) + Markup("; ").join(parts) + Markup(".")


def _days(answer: Checking) -> int:
    return answer.yields.told.days if answer.yields is not None else answer.days


def _panels(found: YieldCheck) -> Markup:
    what = REFERENCES[found.reference]
    more = more_or_less(found.told)
    if not more:
        return Markup("the panels gave <strong>what the model says</strong> {}").format(what)
    return Markup("the panels gave <strong>{}</strong> than the model says {}").format(more, what)


def _house(found: LoadCheck) -> Markup:
    more = more_or_less(found.errors)
    if not more:
        return Markup("the house drew <strong>what its loads say</strong>")
    return Markup("the house drew <strong>{}</strong> than its loads say").format(more)


def more_or_less(found: Errors) -> str:
    """Write a bias in whole percent as more or less; nothing where it is none.

    Examples
    --------
    >>> more_or_less(Errors(days=9, measured_kwh=9, model_kwh=10, mean_error_kwh=1, bias_kwh=-1, bias_share=-0.1))
    '10\\xa0% less'
    """
    share = found.bias_share
    if share is None:
        return f"{fixed(found.bias_kwh, 1)}{NO_BREAK}kWh a day more" if found.bias_kwh >= 0.05 else ""
    return "" if abs(share) < AS_MUCH else f"{percent(abs(share))} {'more' if share > 0.0 else 'less'}"


def range_sentence(answer: Checking) -> str:
    """Say which days these are, and what stands between panels and model."""
    text = (
        f"{written(answer.first)} to {written(answer.last)}, {counted(answer.days, 'day')} with a known yield or draw."
    )
    found = answer.yields
    if found is None:
        return text
    if found.free is not None and found.told is found.free and found.free.days < found.errors.days:
        text += (
            f" The panels are told by the {counted(found.free.days, 'day')} on which the bank was never full while "
            f"the sun shone. Over all {found.errors.days}, a full bank’s among them, they gave "
            f"{percent(_given_share(found.errors))} of what the model says."
        )
    elif found.held_days:
        text += f" On {counted(found.held_days, 'day')} of them a full bank likely held the panels back."
    if found.reference == "average days":
        text += (
            " Against average days a cloudy month looks like weak panels: a record of radiation with these dates, "
            "brought on Sun records, would tell them apart."
        )
    return text


def _given_share(found: Errors) -> float:
    return 0.0 if found.model_kwh <= 0.0 else found.measured_kwh / found.model_kwh


def written(day: date) -> str:
    """Write a date with its year."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def points(share: float) -> str:
    """Write a difference of charges.

    Examples
    --------
    >>> points(0.031), points(-0.004)
    ('3.1\\xa0points', '−0.4\\xa0points')
    """
    return f"{fixed(share * 100.0, 1)}{NO_BREAK}points"


def signed(number: float | None, digits: int = 1) -> str:
    """Write a difference with its sign.

    Examples
    --------
    >>> signed(0.25), signed(-0.01), signed(None)
    ('+0.2', '0.0', '–')
    """
    text = fixed(number, digits)
    return f"+{text}" if number is not None and not text.startswith("−") and float(text.replace("\u202f", "")) else text
