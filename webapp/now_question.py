"""The question of the moment: the charge now, the days as you see them coming, and what is switched off from now on.

Today asks it; every page that goes on from it takes the same query. Percent and civil time here, shares and local
standard time in what the engine gets.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial

from fastapi import Request

from engine.errors import InputError
from engine.fields import Quantity, quantities
from engine.house.bank import Bank
from engine.house.household import Household, Supply
from engine.sky.days import WORDS, Sky, guessed
from webapp.dull_days import read_sky
from webapp.editing import local_now, opened
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.questions import DAY_BY_DAY, asked, read_moment, strangers, to_standard, tried
from webapp.words import long_date

DAYS = 10
"""Days the answer looks ahead, more where a longer spell is chosen."""
USUAL_SKY = "dark,dark,dull,dull,bright"
"""The guess that a page opened without days begins with; a form sends it back with every figure that is typed."""
CHARGE = Quantity(label="Charge now", unit="%", low=0.0, high=1.0, percent=True, hint="As the bank monitor shows it")
RESERVE = dataclasses.replace(quantities(Bank)["reserve_soc"], hint="For this answer only")
DAY_BY_DAY_CHOICE = (DAY_BY_DAY, "Day by day, as chosen here")
OFF = "off"
"""Name of the loads, by id, that are switched off from now on."""
AT = Field(name="at", label="From", kind="text", default="now", optional=True, hint="now, or like 2026‑11‑25 18:00")


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read; `house` is the household with what is switched off left out, `whole` as described."""

    house: Household
    whole: Household
    off: tuple[str, ...]
    supplies: tuple[Supply, ...]
    now: datetime
    moment: datetime
    fields: tuple[Field, ...]
    form: Parsed[Values]
    typed: Mapping[str, str]
    sky_text: str
    sky: Sky | None
    charges: Mapping[str, float]

    @property
    def guessed(self) -> bool:
        """Whether the days are still the guess that the page began with."""
        return self.sky_text == USUAL_SKY


def read_question(request: Request, typed: Mapping[str, str] | None = None) -> Question:
    """Read the query, or what another page took of it, over the open household; faults are in the form's errors."""
    _, house = opened(request)
    now = local_now(request, house)
    typed = asked(request) if typed is None else typed
    supplies = house.supplies()
    fields = (*_bank_fields(supplies), AT)
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = {**form.errors, **strangers(typed, list(form.raw))}
    moment = tried(errors, "at", lambda: read_moment(form.raw["at"], now), now)
    sky_text = typed.get("sky", USUAL_SKY)
    month = to_standard(house.site, moment).month
    sky = tried(errors, "sky", lambda: read_sky(sky_text, house, month, DAYS), None)
    sky = guessed(sky) if sky is not None and sky_text == USUAL_SKY else sky
    values = form.value or {}
    nothing: tuple[str, ...] = ()
    off = tried(errors, OFF, lambda: _switched_off(typed.get(OFF, ""), house), nothing)
    house = _with_reserves(house, supplies, values, form.raw, errors)
    whole, house = house, dataclasses.replace(house, loads=tuple(load for load in house.loads if load.id not in off))
    return Question(
        house=house,
        whole=whole,
        off=off,
        supplies=house.supplies(),
        now=now,
        moment=moment,
        fields=fields,
        form=form.refused(errors) if errors else form,
        typed=typed,
        sky_text=sky_text,
        sky=sky,
        charges={s.bank.id: values[n] for n, s in _named("charge", supplies) if n in typed and n in values},
    )


def _switched_off(text: str, house: Household) -> tuple[str, ...]:
    """Ids of the loads that are switched off from now on."""
    loads = {load.id: load for load in house.loads}
    ids = tuple(dict.fromkeys(one.strip() for one in text.split(",") if one.strip()))
    for one in ids:
        if one not in loads:
            raise InputError(OFF, f"Switched off names “{one}”, which is no load here; there is: {', '.join(loads)}.")
        if loads[one].never_off:
            raise InputError(OFF, f"{loads[one].name} is marked never off on Loads, so it is not switched off here.")
    return ids


def _named(name: str, supplies: tuple[Supply, ...]) -> list[tuple[str, Supply]]:
    """The supplies with the name of their field: plain for the first, with the bank's id for the others."""
    return [(f"{name}_{supply.bank.id}" if place else name, supply) for place, supply in enumerate(supplies)]


def _bank_fields(supplies: tuple[Supply, ...]) -> tuple[Field, ...]:
    fields = []
    for (charge, supply), (reserve, _) in zip(_named("charge", supplies), _named("reserve", supplies), strict=True):
        bank = supply.bank
        several = len(supplies) > 1
        meaning = dataclasses.replace(CHARGE, label=f"Charge of {bank.name}" if several else CHARGE.label)
        fields.append(number_field(charge, meaning, default=round(bank.top_reached_soc, 3)))
        by_volts = bank.reserve_v is not None
        kept = dataclasses.replace(RESERVE, label=f"Reserve of {bank.name}" if several else RESERVE.label)
        fields.append(
            number_field(
                reserve,
                kept,
                default=None if by_volts else bank.reserve_soc,
                optional=by_volts,
                hint=f"Empty: {bank.reserve_v:g} V per cell, as set" if by_volts else "",
            )
        )
    return tuple(fields)


def _with_reserves(
    house: Household, supplies: tuple[Supply, ...], values: Values, raw: Mapping[str, str], errors: dict[str, str]
) -> Household:
    """The household with the reserves typed for this answer; one left as it is stays as it is set."""
    changed: dict[str, Bank] = {}
    defaults = {one.name: one.default for one in _bank_fields(supplies)}
    for name, supply in _named("reserve", supplies):
        kept, bank = values.get(name), supply.bank
        if kept is not None and raw[name].strip() != defaults[name]:
            changed[bank.id] = tried(
                errors, name, partial(dataclasses.replace, bank, reserve_soc=kept, reserve_v=None), bank
            )
    return dataclasses.replace(house, banks=tuple(changed.get(bank.id, bank) for bank in house.banks))


def _words(text: str) -> list[str] | None:
    """The words of a sky said in words; None of any other."""
    words = text.split(",")
    return words if set(words) <= set(WORDS) else None


def sky_chosen(text: str) -> str:
    """Choice of the form that a sky belongs to."""
    return text if _words(text) is None else DAY_BY_DAY


def form_days(question: Question, first: date | None) -> list[tuple[str, str]]:
    """Name and word of each day of the form’s strip, from `first` or the day of the question; one beyond is usual."""
    usual = USUAL_SKY.split(",")
    words = _words(question.sky_text) or usual
    words += [""] * (len(usual) - len(words))
    first = first or question.moment.date()
    return [(long_date(first.fromordinal(first.toordinal() + n)), word) for n, word in enumerate(words)]
