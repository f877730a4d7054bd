"""A size in words, figures, a table and a chart, all from the same numbers."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from math import ceil

from markupsafe import Markup

from engine.answers.answer import Notice
from engine.answers.sheet import bank_steps
from engine.answers.sizing import RECOVERY_DAYS, SizeRow, Sizing
from engine.house.bank import Bank
from engine.house.household import Household, Supply
from engine.house.sizes import with_strings
from engine.house.step_down import StepDown
from engine.quantities import DAYS_PER_YEAR
from engine.sky.days import Sky
from webapp import charts
from webapp.chart_parts import Figure
from webapp.facts import tidy
from webapp.render import fixed, percent
from webapp.words import MONTHS, counted, energy, in_sentence, number

ALMOST = 1e-6
_LESS = {
    "current": "may not give the current",
    "board": "opens its board at low cell volts under load",
    "inverter": "is cut off by the inverter’s volts under load",
    "reserve": "falls to its reserve in some hour",
    "cold": "gives nothing so cold",
}
"""What one string less does hour by hour, by the limit it meets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeView:
    """A sizing as the page shows it."""

    sentence: Markup
    own: str
    standing_in: str
    panels: str
    panels_short: bool
    cells: int
    steps: tuple[StepDown, ...]
    rows: tuple[tuple[SizeRow, str, str], ...]
    notices: tuple[Notice, ...]
    figure: Figure


def size_view(house: Household, supply: Supply, answer: Sizing, sky: Sky) -> SizeView:
    """Return the view of a size."""
    bank = supply.bank
    built = dataclasses.replace(supply, bank=with_strings(bank, answer.strings))
    return SizeView(
        sentence=sentence(answer, sky),
        own=own_sentence(answer),
        standing_in=standing_in(answer, sky),
        panels=panels_sentence(answer),
        panels_short=answer.panels_short_kwh > 0.0,
        cells=answer.strings * answer.series,
        steps=bank_steps(house, built, answer.month).steps,
        rows=tuple((row, recovery(row, answer), why_more(row)) for row in answer.rows),
        notices=more_strings_note(answer, bank),
        figure=charts.sizes(
            [row.label_kwh for row in answer.rows],
            [row.usable_kwh for row in answer.rows],
            answer.own_usable_kwh,
            answer.useful_limit_days,
        ),
    )


def sentence(answer: Sizing, sky: Sky) -> Markup:
    """Say what so many days ask for: usable, label of whole strings, and cells."""
    return Markup(
        "{} in {} {} for <strong>{} usable</strong> at the terminals: <strong>{} on the label</strong>, {} of {}."
    ).format(
        days_asked(answer.days, sky),
        MONTHS[answer.month - 1],
        "ask" if answer.days > 1 else "asks",
        energy(answer.usable_kwh),
        energy(answer.whole_label_kwh),
        counted(answer.strings, "string"),
        counted(answer.series, "cell"),
    )


def days_asked(days: int, sky: Sky) -> str:
    """Write the days that a size is for as they were chosen, at the start of a sentence."""
    count = number(days).capitalize()
    if sky.spell_title:
        return f"{count} of the worst days of {sky.spell_title.split(' of ', 1)[1]}"
    day = "day" if days == 1 else "days"
    if sky.basis == "none":
        return f"{count} {day} without sun"
    words = set(sky.labels[: sky.listed_days])
    word = words.pop() if len(words) == 1 else ""
    return f"{count} {word or 'such'} {day}"


def standing_in(answer: Sizing, sky: Sky) -> str:
    """Say which spell stands in for the days asked where it is not one of just so many days, and which run decides."""
    said, asked = "", number(answer.days)
    if sky.spell_title and sky.listed_days != answer.days:
        spell = f"{sky.spell_title[0].lower()}{sky.spell_title[1:]}"
        if sky.listed_days < answer.days:
            part = f"the {spell}, and after them days like their mean"
        else:
            part = f"the darkest {'' if answer.days == 1 else f'{asked} in a row '}of the {spell}"
        said = f"{asked.capitalize()} {'day is' if answer.days == 1 else 'days are'} taken as {part}. "
    if answer.hardest_days < answer.days:
        fewer = number(answer.hardest_days)
        worst = "worst day alone asks" if answer.hardest_days == 1 else f"worst {fewer} in a row ask"
        said += f"The {worst} for more, and a bank for {asked} must carry that, too: the answer is that of {fewer}."
    return said.strip()


def own_sentence(answer: Sizing) -> str:
    """Say how far the bank as it stands carries."""
    yours = f"Yours, {counted(answer.own_strings, 'string')}, holds {energy(answer.own_usable_kwh)} usable there"
    if answer.own_days is None:
        return f"{yours}; such days do not empty it, because it holds more than they ask for."
    if answer.own_days > DAYS_PER_YEAR:
        return f"{yours} and carries more than a year of such days."
    days = tidy(answer.own_days, 2)
    return f"{yours} and carries about {days} such {'day' if days == '1' else 'days'}."


def panels_sentence(answer: Sizing) -> str:
    """Say whether the panels, not the cells, are short, and where more bank no longer helps."""
    month = MONTHS[answer.month - 1]
    if answer.panels_short_kwh > 0.0:
        return (
            f"The panels are short: on an average day in {month} they give {energy(answer.average_yield_kwh)}, counted "
            f"behind the solar charger (Sun counts before it), of the {energy(answer.daily_load_kwh)} that is used, "
            f"{energy(answer.panels_short_kwh)} too little every day. "
            "No bank is full again until the days grow brighter; more panels or less use come before more cells."
        )
    surplus_kwh = answer.average_yield_kwh - answer.daily_load_kwh
    left = (
        f"An average day in {month} leaves {energy(surplus_kwh)} over, before what the cells lose; "
        f"{number(RECOVERY_DAYS)} of them put back {energy(answer.useful_limit_kwh)} at most."
    )
    if answer.useful_limit_days is None:
        return f"{left} They refill every bank of this list within a fortnight."
    days = number(answer.useful_limit_days)
    return (
        f"{left} From the bank for {days} {'day' if answer.useful_limit_days == 1 else 'days'} on, more bank no longer "
        "helps: ordinary days do not refill it within a fortnight."
    )


def recovery(row: SizeRow, answer: Sizing) -> str:
    """Write how many ordinary days refill the bank."""
    if row.recovery_days is not None:
        return fixed(row.recovery_days, 1)
    return "never, in this month" if answer.panels_short_kwh > 0.0 else "over 28"


def why_more(row: SizeRow) -> str:
    """Say why a row has more strings than its energy asks for; empty where it has not."""
    if not row.more_by:
        return ""
    if row.more_by == "fewer days":
        return "as fewer days ask for"
    fewer = row.strings - 1
    does = _LESS.get(row.more_by, "has too little within reach under load")
    return f"{row.strings_by_kwh} by the kWh alone; {counted(fewer, 'string')} {does}"


def more_strings_note(answer: Sizing, bank: Bank) -> tuple[Notice, ...]:
    """Return a note where the hour-by-hour run needed more strings than the sum of the days."""
    by_sum = max(ceil(answer.label_kwh / (bank.label_kwh / bank.parallel) - ALMOST), 1)
    if answer.strings == by_sum:
        return ()
    return (
        Notice(
            level="note",
            code="hours-need-more",
            text=f"By the sum of the days {counted(by_sum, 'string')} would do. Run hour by hour, with its limits of "
            f"current and its volts under load, {in_sentence(answer.bank_name)} needs {answer.strings} to leave "
            f"nothing unserved over {_runs_of(answer.days)}.",
        ),
    )


def window_text(answer: Sizing) -> str:
    """Write the window of charge that the size counts on."""
    return f"from {percent(answer.top_soc)} down to {percent(answer.floor_soc)}"


def _runs_of(days: int) -> str:
    return "one day" if days == 1 else f"the worst of up to {number(days)} days in a row"
