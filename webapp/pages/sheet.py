"""Sheet: the household, its answers, every input and every assumption, as a document to print."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import supply_of
from engine.answers.comparing import COLD_CODE
from engine.answers.sheet import Sheet, sheet
from engine.answers.winters import USUAL_SHARE, Fitted
from engine.errors import Unreachable
from engine.house.household import Household
from engine.sky.averages import darkest_month
from engine.sky.days import Sky
from engine.sky.made import made_years
from webapp import care_view, comparing_view, sizing_view
from webapp import sheet_view as view
from webapp.autonomy_view import bank_views, on_the_clock
from webapp.carried import FIRST, TOLD
from webapp.cold_line import lines_now
from webapp.commissioning_view import cards, differing
from webapp.comparing_view import week_view
from webapp.dull_days import (
    OWN_DAY,
    chosen_spell,
    month_notice,
    read_sky,
    skies_by_days,
    spell_choices,
    usual_dull_days,
    usual_spell,
)
from webapp.editing import opened
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.now_question import OFF, typed_choice
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.pages import week
from webapp.pages.size import DAYS, USUAL_DAYS, WORDS, month_field
from webapp.promise_notes import factors_of
from webapp.questions import (
    Blocked,
    bank_field,
    every_bank,
    first_step,
    json_reply,
    plain_query,
    to_civil,
    to_standard,
    tried,
)
from webapp.render import Page, render
from webapp.winters_answer import fit_of
from webapp.wiring_view import wiring_view
from webapp.words import MONTHS, long_date

PAGE = Page("Check", "Sheet", "/sheet", "All of it on paper, with its sources")
router = APIRouter()

CONTENTS = (
    ("sheet-hours", "How long it lasts"),
    ("sheet-size", "How big a bank"),
    ("sheet-week", "Which cells through a rainy week"),
    ("sheet-settings", "What to set"),
    ("sheet-wiring", "Cables, fuses and short circuits"),
    ("sheet-care", "Care of the cells"),
    ("sheet-mind", "To check and to note"),
    ("sheet-standards", "The rules it defers to"),
    ("sheet-limits", "What is not modelled"),
    ("sheet-steps", "From the label to the sockets"),
    ("sheet-charge", "Charge by day and hour"),
    ("sheet-inputs", "Everything that was entered"),
    ("sheet-taken", "What was taken for granted"),
    ("sheet-worked", "The sums, to follow with a pocket calculator"),
)
"""Sections of the sheet as a screen lists them: id and title."""
HOURS_PX, WEEK_PX = 120, 168
"""Heights of the charts on the sheet [px]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The question of Today, and what the sheet asks besides."""

    today: Moment
    fields: tuple[Field, ...]
    form: Parsed[Values]
    spell: Sky | None
    week: Sky | None
    week_from: datetime
    factors: dict[str, float]


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the sheet."""
    asked = read_question(request)
    answer, blocked = (None, None) if asked.form.errors else worked_out(asked)
    saved, _ = opened(request)
    return render(
        request,
        "sheet.html",
        status=422 if asked.form.errors else 200,
        fields=asked.fields,
        form=asked.form,
        kept={name: asked.today.typed[name] for name in (FIRST, OFF, TOLD) if name in asked.today.typed},
        query=plain_query(asked.today.typed),
        made_text=view.date_and_time(asked.today.now),
        fingerprint=view.fingerprint(saved.text),
        blocked=blocked,
        answer=answer,
        **({} if answer is None else _shown(asked, answer)),
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Give the same sheet as JSON, unrounded, with the moments on the household's clock."""
    asked = read_question(request)
    return json_reply(asked.form.errors, lambda: worked_out(asked))


def read_question(request: Request) -> Asked:
    """Read the query over the open household; faults are in the form's errors."""
    question = read_now(request)
    house, typed = question.house, question.typed
    moment = to_standard(house.site, question.moment)
    week_from = week.start_of(typed.get("month", week.AS_DATED), moment, question.now)
    size_fields = (number_field("days", DAYS, default=USUAL_DAYS), month_field(house))
    asked = parse(size_fields, typed, build=lambda values: values).value or {}
    days, size_month = asked.get("days", USUAL_DAYS), int(asked.get("month", size_fields[1].default))
    texts = {
        "sky": question.sky_text,
        "spell": typed.get("spell") or usual_dull_days(house, size_month),
        "week": typed.get("week") or usual_spell(house.site, house.sun, week.WEEK_DAYS),
    }
    fields = (
        *question.fields,
        *size_fields,
        *bank_field(every_bank(question.supplies)),
        *_sky_fields(house, texts, typed_choice(question)),
    )
    form: Parsed[Values] = parse(fields, {**typed, **texts}, build=lambda values: values)
    errors = {**question.form.errors, **form.errors}
    own_days = days if texts["spell"] == OWN_DAY else 0
    chosen = chosen_spell(texts["spell"], house.site, house.sun, days)
    spell = tried(errors, "spell", lambda: read_sky(chosen, house, size_month, own_days), None)
    days_of_week = tried(errors, "week", lambda: read_sky(texts["week"], house, week_from.month, week.DAYS), None)
    refused = form.refused(errors) if errors else form
    return Asked(
        today=question,
        fields=fields,
        form=refused,
        spell=spell,
        week=days_of_week,
        week_from=week_from,
        factors=factors_of(request),
    )


def _sky_fields(house: Household, texts: Mapping[str, str], said: tuple[tuple[str, str], ...]) -> tuple[Field, ...]:
    asked = (("sky", "The coming days", said), ("spell", "Days for the size", WORDS), ("week", "Days for the week", ()))
    return tuple(
        Field(
            name=name,
            label=label,
            kind="choice",
            choices=spell_choices(house.site, house.sun, texts[name], extra),
            default=texts[name],
        )
        for name, label, extra in asked
    )


def worked_out(asked: Asked) -> tuple[Sheet | None, Blocked | None]:
    """Return the sheet on the household's clock, or why there is none."""
    question = asked.today
    site, values = question.house.site, asked.form.value or {}
    assert question.sky is not None
    assert asked.spell is not None
    assert asked.week is not None
    try:
        answer = sheet(
            question.house,
            to_standard(site, question.moment),
            question.charges,
            question.sky,
            asked.spell,
            asked.week,
            int(values["days"]),
            values.get("bank"),
            int(values["month"]),
            asked.week_from,
            skies_by_days(asked.form.raw["spell"], question.house, int(values["month"])),
            winters_fit(question.house, values.get("bank")),
            asked.factors,
        )
    except Unreachable as fault:
        return None, first_step(question.house, str(fault))
    clocked = dataclasses.replace(
        answer,
        at=to_civil(site, answer.at),
        autonomy=on_the_clock(answer.autonomy, site),
        comparison=comparing_view.on_the_clock(answer.comparison, site),
        care=care_view.on_the_clock(answer.care, site),
    )
    return clocked, None


def winters_fit(house: Household, bank_id: str | None) -> Fitted | None:
    """Return the sized supply on thirty winters made for the place; None where these tell nothing."""
    try:
        series, month = made_years(house.site, house.sun), darkest_month(house.site, house.sun)
        return fit_of(house, supply_of(house, bank_id), series, month, USUAL_SHARE)
    except Unreachable:
        return None


def _shown(asked: Asked, answer: Sheet) -> dict[str, Any]:
    question = asked.today
    house = question.house
    assert question.sky is not None
    assert asked.spell is not None
    assert asked.week is not None
    views = bank_views(house, question.supplies, answer.autonomy, question.guessed, question.sky)
    tables = [view.curve_table(house, one.bank, answer.at) for one in views]
    compared = supply_of(house, answer.comparison.bank_id)
    side_by_side = week_view(answer.comparison, house.site, compared)
    return {
        "contents": CONTENTS,
        "cold": dataclasses.replace(lines_now(question, ""), href=""),
        "for_text": view.date_and_time(answer.at),
        "of_another_date": abs(question.moment - question.now) >= timedelta(days=1),
        "size_notices": month_notice(house.site, asked.spell, answer.sizing.month, remedy=False),
        "week_notices": (
            *(notice for notice in answer.comparison.notices if notice.code == COLD_CODE),
            *month_notice(house.site, asked.week, asked.week_from.month, remedy=False),
        ),
        "words": view.in_words(house, question.supplies, answer.at.month),
        "views": [
            (
                one,
                view.on_paper(one.figure, HOURS_PX),
                table,
                lines(one.bank.worked),
            )
            for one, table in zip(views, tables, strict=True)
        ],
        "size_sentence": sizing_view.sentence(answer.sizing, asked.spell),
        "size_more": (
            sizing_view.standing_in(answer.sizing, asked.spell),
            sizing_view.own_sentence(answer.sizing),
            sizing_view.panels_sentence(answer.sizing),
            view.risk_sentence(answer.riding),
        ),
        "settings": cards(answer.settings),
        "differing": differing(answer.settings),
        "wiring": wiring_view(answer.wiring),
        **care_view.care_context(answer.care),
        "standards": view.by_region(answer.standards),
        "size_rows": [(row, sizing_view.recovery(row, answer.sizing)) for row in answer.sizing.rows],
        "week": side_by_side,
        "week_figure": view.on_paper(side_by_side.figure, WEEK_PX),
        "week_start": long_date(answer.comparison.at.date()),
        "month": MONTHS[answer.sizing.month - 1],
        "size_lines": lines(answer.sizing.worked),
        "week_lines": lines(answer.comparison.worked),
        "steps": [(one.name, one.steps) for one in answer.steps],
        "inputs": [(section.title, [view.input_cells(row) for row in section.rows]) for section in answer.sections],
        "taken": view.assumption_groups(house, answer.assumptions),
        "cautions": view.cautions(house),
    }
