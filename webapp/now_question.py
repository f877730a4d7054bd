"""The question of the moment: the charge now, the days as you see them coming, and what is switched off from now on.

Today asks it; every page that goes on from it takes the same query. Percent and civil time here, shares and local
standard time in what the engine gets.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial

from fastapi import Request

from engine.answers.coming import first_day, marks_of
from engine.answers.fan import season_sky
from engine.balance.bus_plant import on_the_bus
from engine.errors import InputError, Unreachable
from engine.fields import Quantity, quantities
from engine.house.bank import Bank
from engine.house.bus import clash_sentence
from engine.house.charge_scales import SCALES, Marks, Told, on_scale, told, volts_span
from engine.house.household import Household, Supply
from engine.sky.days import SEASON, WORDS, Sky, guessed
from engine.sky.series import KcSeries
from webapp.applied import APPLIED
from webapp.carried import FIRST
from webapp.dated_days import LOOKED_AHEAD_DAYS, USUAL_WORD, day_list, days_in_words, moved, read_first
from webapp.dull_days import OWN_DAY, read_sky
from webapp.editing import local_now, opened, store_of
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.questions import DAY_BY_DAY, asked, every_bank, read_coming, strangers, to_standard, tried
from webapp.skies import series_of, skies_field
from webapp.units import chosen, notation
from webapp.words import long_date

DAYS = LOOKED_AHEAD_DAYS
"""Days the answer looks ahead, more where a longer spell is chosen."""
USUAL_SKY = SEASON
"""What a page opened without days asks for: these days as they went in other years."""
STRIP_DAYS = 5
"""Days of the form that may be said one by one."""
KWH = "kwh"
"""Choice of the form whose days stand in a text of their own, of this name too."""
CHARGE = Quantity(label="Charge now", unit="%", low=0.0, high=1.0, percent=True)
SCALE_CHOICES = (
    ("monitor", "% on the monitor"),
    ("inverter", "% on the inverter"),
    ("usable", "% of what is usable"),
    ("ah", "Ah out since 100 %"),
    ("volts", "V, rested an hour"),
)
RESERVE = dataclasses.replace(quantities(Bank)["reserve_soc"], hint="For this answer only")
DAY_BY_DAY_CHOICE = (DAY_BY_DAY, "Day by day, as chosen here")
KWH_CHOICE = (KWH, "kWh of all panels, day by day")
OFF = "off"
"""Name of the loads, by id, that are switched off from now on."""
AT = Field(
    name="at",
    label="From",
    kind="text",
    default="now",
    optional=True,
    hint="now, 18:00 of today, Sunday 8:00, or like 25 Nov 2026 18:00",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read; `house` is the household with what is switched off left out, `whole` as described.

    `told` is each typed charge by its bank's id, with the span that it may mean; `first` the date of the first day.
    """

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
    first: date
    sky: Sky | None
    charges: Mapping[str, float]
    told: Mapping[str, Told]

    @property
    def guessed(self) -> bool:
        """Whether nobody has said yet what the days are like."""
        return self.sky_text == USUAL_SKY

    @property
    def spans(self) -> dict[str, tuple[float, float]]:
        """The charges that do not say exactly what they mean, by bank id."""
        return {one: (t.low_soc, t.high_soc) for one, t in self.told.items() if t.low_soc < t.high_soc}


def read_question(request: Request, typed: Mapping[str, str] | None = None) -> Question:
    """Read the query, or what another page took of it, over the open household; faults are in the form's errors."""
    saved, house = opened(request)
    now = local_now(request, house).replace(second=0, microsecond=0)
    typed = _with_kwh(asked(request) if typed is None else typed)
    supplies = every_bank(house.supplies())
    skies = skies_field(store_of(request), saved.household_id, "Other years from")
    fields = (*_bank_fields(house, supplies, typed, now.month), AT, *((skies,) if len(skies.choices) > 1 else ()))
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = {**form.errors, **strangers(typed, list(form.raw))}
    moment = tried(errors, "at", lambda: read_coming(form.raw["at"], now), now)
    at, values = to_standard(house.site, moment), form.value or {}
    first = first_day(house, supplies, at)
    was = tried(errors, "sky", partial(read_first, typed.get(FIRST, ""), first), first)
    first = was if "at" in errors else first
    typed = _on_their_dates(typed, was, first)
    sky_text = typed.get("sky", USUAL_SKY)
    nothing: tuple[str, ...] = ()
    off = tried(errors, OFF, lambda: _switched_off(typed.get(OFF, ""), house), nothing)
    whole = house = _with_reserves(house, supplies, values, form.raw, errors)
    if off:
        house = dataclasses.replace(house, loads=tuple(load for load in house.loads if load.id not in off))
    charges = _charges(whole, supplies, typed, values, at.month, errors)
    found = {one: told_as.soc for one, told_as in charges.items()}
    if errors:
        sky = tried(errors, "sky", lambda: _said(sky_text, whole, at.month, DAYS)[0], None)
    else:
        years = partial(series_of, store_of(request), saved.household_id, whole, values.get(skies.name, skies.default))
        series = tried(errors, skies.name, years, None)
        sky = tried(errors, "sky", lambda: _days_to_come(sky_text, whole, found, series, at), None)
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
        first=first,
        sky=sky,
        charges=found,
        told=charges,
    )


def _with_kwh(typed: Mapping[str, str]) -> dict[str, str]:
    """The query with the days' kWh, typed in a field of their own, as the days of the question."""
    found = {name: text for name, text in typed.items() if name not in (KWH, APPLIED)}
    if typed.get("sky", "").strip() == KWH:
        found["sky"] = f"{KWH}:{_listed_numbers(typed.get(KWH, ''))}"
    return found


def _on_their_dates(typed: Mapping[str, str], was: date, first: date) -> dict[str, str]:
    """The query with its days from `first` on, each on the date that it was said for, and with that date."""
    rest = {name: text for name, text in typed.items() if name != FIRST}
    if "sky" not in typed or day_list(typed["sky"]) is None:
        return rest
    return rest | {"sky": moved(typed["sky"], was, first), FIRST: first.isoformat()}


def _listed_numbers(text: str) -> str:
    """Numbers as people list them, with commas between: 1.5, 2 or 1,5 2,0 or 1,5; 2,0.

    Where the household chose the point, a comma is a decimal sign only where something else parts the days.
    """
    parts = [part.strip(",;") for part in re.split(r"[\s;]+", text.strip()) if part.strip(",;")]
    parted = ";" in text or (len(parts) > 1 and not re.search(r"\.|,\s", text.strip()))
    if parted or chosen().decimal == "comma":
        parts = [part.replace(",", ".") if part.count(",") == 1 else part for part in parts]
    return ",".join(parts)


def _said(text: str, house: Household, month: int, days: int = 0) -> tuple[Sky | None, tuple[bool, ...]]:
    """The days that were said, and which of them were; none where the season is to say all of them."""
    kind, words = day_list(text) or ("", [word.strip() for word in text.split(",")])
    blank = (USUAL_WORD,) if kind else ("", USUAL_WORD)
    if text.strip() in (SEASON, USUAL_WORD) or (len(words) > 1 and all(word in blank for word in words)):
        return None, ()
    is_said = tuple(word not in blank for word in words) if len(words) > 1 else ()
    if all(is_said) or (not kind and any(yes and word not in WORDS for yes, word in zip(is_said, words, strict=True))):
        sky = read_sky(text, house, month, days)
        return sky, (True,) * len(sky.kc)
    standing = next(word for yes, word in zip(is_said, words, strict=True) if yes)
    filled = ",".join(word if yes else standing for word, yes in zip(words, is_said, strict=True))
    sky = read_sky(f"{kind}{filled}", house, month)
    count = sum(is_said)
    title = f"{count} day{'' if count == 1 else 's'} as typed"
    return dataclasses.replace(sky, title=title[:1].upper() + title[1:]), is_said


def _days_to_come(
    text: str, house: Household, charges: Mapping[str, float], series: KcSeries | None, at: datetime
) -> Sky:
    """The days of the question: as said, and those that nobody said as other years had them."""
    if text in ("none", OWN_DAY):
        return read_sky(text, house, at.month, DAYS)
    said, is_said = _said(text, house, at.month)
    if said is not None and len(is_said) >= DAYS and all(is_said):
        return said
    try:
        sky = None if series is None else season_sky(house, charges, said, is_said, series, at, DAYS)
    except Unreachable:
        sky = None
    if sky is not None:
        return sky
    if series is not None and series.basis == "measured" and house.supplies():
        raise InputError("skies", "No year of that record has all of these days: choose others.")
    return guessed(read_sky("dull", house, at.month, DAYS)) if said is None else read_sky(text, house, at.month, DAYS)


def _charges(
    house: Household,
    supplies: tuple[Supply, ...],
    typed: Mapping[str, str],
    values: Values,
    month: int,
    errors: dict[str, str],
) -> dict[str, Told]:
    """The charges that were typed, by bank id, each read off its own scale with the reserve of this answer."""
    found = {}
    for name, supply in _named("charge", supplies):
        if name in typed and name in values:
            scale = values.get(_scale_name(name), SCALES[0])
            read = partial(told, _marks(house, supply.bank.id, month), scale, values[name])
            charge = tried(errors, name, read, None)
            if charge is not None:
                found[supply.bank.id] = charge
    return found


def _marks(house: Household, bank_id: str, month: int) -> Marks:
    found = [marks_of(house, supply, month) for supply in house.supplies()]
    return next(marks[bank_id] for marks in found if bank_id in marks)


def _scale_name(charge_name: str) -> str:
    """Name of the field that says on which scale a charge was read."""
    return charge_name.replace("charge", "charge_as", 1)


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


def _bank_fields(
    house: Household, supplies: tuple[Supply, ...], typed: Mapping[str, str], month: int
) -> tuple[Field, ...]:
    fields: list[Field] = []
    for (charge, supply), (reserve, _) in zip(_named("charge", supplies), _named("reserve", supplies), strict=True):
        bank = supply.bank
        several = len(supplies) > 1
        fields += _charge_fields(house, supply, charge, typed, month, several=several)
        kept = dataclasses.replace(RESERVE, label=f"Reserve of {bank.name}" if several else RESERVE.label)
        fields.append(_reserve_field(reserve, kept, bank))
    return tuple(fields)


def _charge_fields(
    house: Household, supply: Supply, name: str, typed: Mapping[str, str], month: int, *, several: bool
) -> list[Field]:
    """The charge and the scale it is read on, which says what the number means."""
    asked_scale = typed.get(_scale_name(name), SCALES[0])
    scale = asked_scale if asked_scale in SCALES else SCALES[0]
    m, label = _marks(house, supply.bank.id, month), f"Charge of {supply.bank.name}" if several else CHARGE.label
    full = _full_soc(house, bank=supply.bank)
    meaning = dataclasses.replace(CHARGE, label=label)
    if scale == "ah":
        meaning = dataclasses.replace(meaning, unit="Ah", low=0.0, high=math.floor(m.ah * 10.0) / 10.0, percent=False)
    if scale == "volts":
        low_v, high_v = volts_span(m)
        ends = {"low": round(low_v - 0.05, 1), "high": round(max(high_v, m.series * supply.bank.cell.v_max) + 0.05, 1)}
        meaning = dataclasses.replace(meaning, unit="V", percent=False, **ends)  # type: ignore[arg-type]
    start = on_scale(m, scale, full)
    choice = Field(
        name=_scale_name(name),
        label=f"{supply.bank.name}: read as" if several else "Read as",
        kind="choice",
        choices=SCALE_CHOICES,
        default=SCALES[0],
    )
    return [number_field(name, meaning, default=round(start, 3 if meaning.percent else 1)), choice]


def _full_soc(house: Household, bank: Bank) -> float:
    """The charge a bank is taken to stand at where none is typed: on a shared bus, what the bus fills it to."""
    for supply in house.supplies():
        if supply.beside and bank in supply.banks and not clash_sentence(supply.banks, supply.inverter):
            return on_the_bus(supply.banks)[supply.banks.index(bank)].top_reached_soc
    return bank.top_reached_soc


def _reserve_field(name: str, kept: Quantity, bank: Bank) -> Field:
    by_volts = bank.reserve_v is not None
    return number_field(
        name,
        kept,
        default=None if by_volts else bank.reserve_soc,
        optional=by_volts,
        hint=f"Empty: {bank.reserve_v:g} V per cell, as set" if by_volts else "",
    )


def _with_reserves(
    house: Household, supplies: tuple[Supply, ...], values: Values, raw: Mapping[str, str], errors: dict[str, str]
) -> Household:
    """The household with the reserves typed for this answer; one left as it is stays as it is set."""
    changed: dict[str, Bank] = {}
    for name, supply in _named("reserve", supplies):
        kept, bank = values.get(name), supply.bank
        if kept is not None and raw[name].strip() != _reserve_field(name, RESERVE, bank).default:
            changed[bank.id] = tried(
                errors, name, partial(dataclasses.replace, bank, reserve_soc=kept, reserve_v=None), bank
            )
    return dataclasses.replace(house, banks=tuple(changed.get(bank.id, bank) for bank in house.banks))


def _words(text: str) -> list[str] | None:
    """The words of a sky said in words, a day that nobody said being empty; None of any other."""
    kind, words = day_list(text) or (KWH, [])
    return None if kind else words


def sky_chosen(text: str) -> str:
    """Choice of the form that a sky belongs to."""
    if text.startswith(f"{KWH}:"):
        return KWH
    return text if _words(text) is None else DAY_BY_DAY


def kwh_text(text: str) -> str:
    """The days' kWh as the form's own field shows them; empty where the days are said otherwise."""
    if not text.startswith(f"{KWH}:"):
        return ""
    days = text.removeprefix(f"{KWH}:")
    units = chosen()
    return notation(days.replace(",", "; "), units) if units.decimal == "comma" else days.replace(",", ", ")


def form_days(question: Question) -> list[tuple[str, str]]:
    """Name and word of each day of the form’s strip, from the first day of the question on; empty: not said."""
    words: Sequence[str] = _words(question.sky_text) or ()
    words = [*words, *("",) * (STRIP_DAYS - len(words))]
    return [(long_date(question.first + timedelta(days=n)), word) for n, word in enumerate(words)]


def typed_choice(question: Question) -> tuple[tuple[str, str], ...]:
    """Return the choice of the days as they were said, with their weekdays; none of a spell that has a name."""
    said = days_in_words(question.sky_text, question.first)
    return ((question.sky_text, f"As typed: {said}"),) if said else ()
