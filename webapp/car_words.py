"""What is said of charging the car: the sentence, the short one for Today, each row, and what stops more.

Energies that may go in and distances are rounded down; times are on the household's clock.
"""

from __future__ import annotations

import math
from datetime import datetime

from markupsafe import Markup

from engine.answers.car_parts import CAREFUL, CAUTIOUS, LIKELY, NO, PART, WAIT, YES, Asked, CarAnswer
from webapp.render import NO_BREAK, fixed, percent
from webapp.words import clock_time, day_name, in_sentence, mid_sentence, stamp

NOTHING_KWH = 0.005
RISK_WORDS = {
    LIKELY: "with the days as said and your loads as described",
    CAUTIOUS: "with each day as dark as its word allows and your loads a tenth heavier",
    CAREFUL: "with each day as dark as its word allows, your loads a tenth heavier, and on days nobody said the "
    "dullest tenth of the years",
}


def amount(kwh: float) -> str:
    """Write an energy that may be put in, rounded down, with its unit.

    Examples
    --------
    >>> amount(4.19), amount(57.3), amount(0.0)
    ('4.1\xa0kWh', '57\xa0kWh', '0\xa0kWh')
    """
    step = 1.0 if kwh >= 10.0 or kwh < NOTHING_KWH else 0.1
    return f"{fixed(math.floor(kwh / step + 1e-9) * step, 0 if step == 1.0 else 1)}{NO_BREAK}kWh"


def distance(km: float) -> str:
    """Write a distance, rounded down.

    Examples
    --------
    >>> distance(20.97), distance(19.9999999999)
    ('20\xa0km', '20\xa0km')
    """
    return f"{fixed(math.floor(km + 1e-9))}{NO_BREAK}km"


def sentence(answer: CarAnswer) -> Markup:
    """Say whether the car may be charged now, by how much, or from when on."""
    wanted, car = f"{answer.km:g}{NO_BREAK}km", mid_name(answer)
    if answer.verdict == YES:
        return Markup("Yes, <strong>all {}</strong>: {} may go into {} now.").format(wanted, _needed(answer), car)
    when = _when(answer)
    if answer.verdict == PART:
        part = f"{amount(answer.part_kwh)} ({distance(answer.part_km)})"
        rest = f", the rest {when}" if when else "; the rest of it not in one go in these days"
        return Markup("<strong>{} now</strong> into {}{}.").format(part, car, rest)
    if answer.verdict == WAIT:
        assert answer.start_at is not None
        today = answer.start_at.date() == answer.at.date()
        return Markup("Not {}: <strong>wait until {}</strong>, then all {} may go into {}.").format(
            "now" if today else "today", when.removeprefix("from "), wanted, car
        )
    return Markup("<strong>No</strong>: at no hour of these days can {} spare the {} for {}.").format(
        in_sentence(answer.bank_name), _needed(answer), wanted
    )


def brief(answer: CarAnswer) -> str:
    """Say it in one short sentence, for Today."""
    name = mid_name(answer)
    car, wanted = name[:1].upper() + name[1:], f"{answer.km:g}{NO_BREAK}km"
    if answer.verdict == YES:
        return f"{car} may take all {wanted}, {_needed(answer)}, now: the bank stays above its reserve."
    when = _when(answer)
    if answer.verdict == PART:
        rest = f"; the rest {when}" if when else ""
        part = f"{amount(answer.part_kwh)} ({distance(answer.part_km)})"
        return f"{car} may take {part} now without going under the reserve{rest}."
    if answer.verdict == WAIT:
        return f"{car} has to wait until {when.removeprefix('from ')} for {wanted}, {_needed(answer)}."
    spare = f"{in_sentence(answer.bank_name)} cannot spare {_needed(answer)} for {wanted}"
    return f"{car} may not be charged in these days: {spare}."


def mid_name(answer: CarAnswer) -> str:
    """Return the car's name as it stands within a sentence."""
    name = answer.car.name
    return f"“{name}”" if answer.car.load_id else mid_sentence(in_sentence(name))


def row_words(one: Asked, answer: CarAnswer) -> str:
    """Say the answer for one distance of the table."""
    if one.verdict == YES:
        return "yes, now"
    later = "" if one.start_at is None else f"all of it from {_moment(one.start_at, answer.at)}"
    if one.verdict == PART:
        part = f"{amount(answer.most_kwh)} ({distance(answer.most_km)}) now"
        return f"{part}; {later or 'not all of it in these days'}"
    return f"not now; {later}" if later else "no"


def _needed(answer: CarAnswer) -> str:
    """The energy wanted, to a tenth: what is needed is not rounded down."""
    return f"{fixed(answer.kwh, 1)}{NO_BREAK}kWh"


def _when(answer: CarAnswer) -> str:
    return "" if answer.start_at is None else f"from {_moment(answer.start_at, answer.at)}"


def _moment(moment: datetime, now: datetime) -> str:
    """A start in words: the day by its name and the hour."""
    hour = clock_time(naive(moment), 15)
    if moment.date() == now.date():
        return f"{hour} today"
    return f"{day_name(moment.date(), now.date())}, {hour}"


def range_words(answer: CarAnswer) -> str:
    """Return the risk in words, what stops more, and whose days these are."""
    told = RISK_WORDS[answer.risk]
    return f"{told[0].upper()}{told[1:]}. {_why(answer)}"


def _why(answer: CarAnswer) -> str:
    bank = in_sentence(answer.bank_name)
    if answer.verdict == YES:
        again = answer.with_car.refill_at
        lowest = percent(answer.with_car.lowest_soc)
        if again is None:
            return (
                f"{bank[:1].upper()}{bank[1:]} is then at {lowest} at the lowest, and not charged again in these days."
            )
        return (
            f"{bank[:1].upper()}{bank[1:]} is then at {lowest} at the lowest, and charged again {stamp(naive(again))}."
        )
    if answer.without.short_at is not None and answer.verdict in (WAIT, NO) and answer.most_kwh < NOTHING_KWH:
        return f"Even without the car {bank} {_stop(answer.without.short_by)} {stamp(naive(answer.without.short_at))}."
    if answer.refused_at is None:
        return "With all of it now the bank would not be charged again in time."
    return f"With all of it now {bank} {_stop(answer.refused_by)} {stamp(naive(answer.refused_at))}."


def _stop(limit: str) -> str:
    return {
        "reserve": "reaches its reserve",
        "inverter": "is cut off by the inverter",
        "board": "is cut off by its board",
        "current": "may not give the current asked of it",
        "cold": "may give nothing in this cold",
        "cold or rate": "has no more within reach in this cold and at this draw",
    }.get(limit, "goes short")


def naive(moment: datetime) -> datetime:
    """Return a clock time without its zone."""
    return moment.replace(tzinfo=None)
