"""How it is worked out: every model with its formula, source, limits and a worked number."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.autonomy import LOAD_SPREAD_SHARE
from engine.answers.autonomy_days import END_OF_LIFE_SHARE, MARGIN
from engine.answers.bench_forecast import AFTER_SHARE, LABEL_SHARE, PRIOR_UNKNOWN, PRIORS, SENSOR_SHARE
from engine.answers.lasting import NIGHT_SHARE
from engine.answers.promise_book import CLAIM_SHARE, LEAST_SCORED, MOST_WIDE, NEWEST, SURE_SHARE
from engine.answers.promises import BEST_H, FIRST_H, LAST_H, READ_SOC
from engine.answers.sizing import RECOVERY_DAYS
from engine.balance.step import MAX_SOC_STEP, MAX_TAPER_H
from engine.cells import ageing, catalogue
from engine.cells.chemistry import field_label
from engine.cells.sight import BLIND_SHARE, CLEAR_SHARE, RESOLUTION_MV
from engine.sky import climate as climates
from engine.sky.days import WORDS
from engine.sky.elsewhere import station_spells
from engine.sky.irradiance import ALBEDO_SHARE
from engine.sky.lessons import LEAST_LOG_YEARS
from engine.sky.log import LEAST_DAYS_OF_MONTH
from engine.sky.made import DAY_TO_DAY_SHARE, YEARS
from engine.sky.reading import CONTRADICTION_SHARE
from engine.sky.spells import LEAST_DAYS, LEAST_YEARS, LONGEST_GAP_DAYS, WINDOW_DAYS
from engine.sky.sun import POWER_PER_C, START_W_PER_KWP
from engine.sky.world import ROUGH
from webapp import worked_bench, worked_house, worked_parts
from webapp.dark_words import dark_widths
from webapp.facts import KIND_MEANINGS, facts, lines, shown
from webapp.method_accuracy import ACCURACIES
from webapp.method_marks import MARKS
from webapp.render import Page, render

PAGE = Page("", "How it is worked out", "/method", "Each formula, its source and a worked number")
router = APIRouter()

CONTENTS = (
    ("terms", "Words used here"),
    ("kinds", "Kinds of numbers"),
    ("hours", "How long it lasts"),
    ("cell", "One cell"),
    ("charge", "Where a charge ends"),
    ("hold", "How long a hold takes, and what a balancer sees"),
    ("bench", "From a bench test to a curve"),
    ("logs", "Reading a bench log"),
    ("plan", "A bench plan and its forecast"),
    ("strings", "Tested cells into strings"),
    ("span", "The pack against the inverter’s window"),
    ("floor", "How low it may go"),
    ("lead", "Lead-acid: rate and slow filling"),
    ("cold", "Cold"),
    ("steps", "From the label to the sockets"),
    ("scales", "Which percentage is this?"),
    ("inverter", "Inverter"),
    ("generator", "Generator"),
    ("loads", "Loads"),
    ("sun", "Sun"),
    ("sky-now", "The sky off the charger’s display"),
    ("spells", "Dull spells"),
    ("records", "Sun records"),
    ("log", "Log"),
    ("compared", "Measured against predicted"),
    ("measuring", "Measuring it yourself"),
    ("learning", "What your own log teaches"),
    ("size", "How big for N days"),
    ("winters", "Many winters at once"),
    ("bus", "Several banks on one DC bus"),
    ("off", "What to switch off, and when"),
    ("run", "When to run the generator"),
    ("spares", "A spare bank: clipped leads, and a device that limits the current"),
    ("car", "May the car be charged?"),
    ("care", "Care of the cells"),
    ("dark", "Why it went dark"),
    ("wiring", "Cables, fuses and short circuits"),
    ("setting", "What to set on the day"),
    ("card", "The household card"),
    ("week", "The rainy week"),
    ("ageing", "Years of use, and what they cost"),
    ("step", "How time is stepped"),
    ("range", "What a range means"),
    ("promises", "The promise book"),
    ("marks", "Where checks begin"),
    ("units", "Units and rounding"),
    ("accuracy", "How good it is"),
    ("chemistries", "The cells that ship"),
    ("data", "Weather data and credits"),
    ("limits", "What is not modelled"),
)


CONSTANTS = {
    "load_spread": LOAD_SPREAD_SHARE,
    "recovery_days": RECOVERY_DAYS,
    "soc_step": MAX_SOC_STEP,
    "taper_h": MAX_TAPER_H,
    "albedo": ALBEDO_SHARE,
    "power_per_c": POWER_PER_C,
    "start_w_per_kwp": START_W_PER_KWP,
}
"""Numbers of the models that the text names."""
LOG = {"years": LEAST_LOG_YEARS, "days_of_month": LEAST_DAYS_OF_MONTH}
"""What a daily log must have."""
BOOK = {
    "claim": CLAIM_SHARE,
    "sure": SURE_SHARE,
    "least": LEAST_SCORED,
    "newest": NEWEST,
    "most_wide": MOST_WIDE,
    "first_h": FIRST_H,
    "last_h": LAST_H,
    "best_h": BEST_H,
    "read": READ_SOC,
}
"""Numbers of the promise book."""
SIGHT = {
    "board_mv": RESOLUTION_MV,
    "clear_mv": RESOLUTION_MV * 0.01 / CLEAR_SHARE,
    "blind_mv": RESOLUTION_MV * 0.01 / BLIND_SHARE,
}
"""What a balancer tells apart, and what a point of charge must show as to be seen clearly, or at all."""
FORECAST = {
    "priors": [*((name, *prior) for name, prior in PRIORS.items()), ("any other", *PRIOR_UNKNOWN)],
    "sensor": SENSOR_SHARE,
    "label": LABEL_SHARE,
    "after": AFTER_SHARE,
}
"""How far off a bench forecast may be."""
MADE_YEARS = {
    "years": YEARS,
    "day_to_day": DAY_TO_DAY_SHARE,
    "kc_max": climates.KC_MAX,
    "least_days": LEAST_DAYS,
    "least_years": LEAST_YEARS,
    "longest_gap_days": LONGEST_GAP_DAYS,
}
"""Numbers of the made years and of what is counted in them."""

VALUE_FIELDS = (
    "v_nominal",
    "v_low",
    "v_full",
    "v_charge",
    "v_max",
    "holds",
    "tail_c",
    "coulombic_efficiency",
    "charge_c_max",
    "discharge_c_max",
    "charge_min_c",
    "charge_max_c",
    "discharge_min_c",
    "discharge_max_c",
    "peukert_k",
    "rated_h",
    "rate_loss_per_c",
    "acceptance_tau_h",
    "self_discharge_per_month",
    "reserve_soc",
    "series_step",
)


@lru_cache(maxsize=1)
def content() -> dict[str, Any]:
    """Everything the page shows, asked of the engine and the shipped data once."""
    cells = [catalogue.load(key) for key in catalogue.names()]
    return {
        "contents": CONTENTS,
        "constants": CONSTANTS,
        "log": LOG,
        "kinds": KIND_MEANINGS,
        "words": WORDS,
        "hours": lines(worked_house.hours_left()),
        "hours_really": lines(worked_house.hours_left_really()),
        "spread": lines(worked_house.spread()),
        "charge_end": lines(worked_parts.charge_end()),
        "charge_tables": {name.split(" (")[0]: rows for name, rows in worked_parts.charge_tables().items()},
        "translated": lines(worked_bench.translated()),
        "held": lines(worked_bench.held()),
        "seen": lines(worked_bench.seen()),
        "dealt": lines(worked_bench.dealt()),
        "sight": SIGHT,
        "forecast": FORECAST,
        "marks": MARKS,
        "night_share": NIGHT_SHARE,
        "cut_off": lines(worked_parts.cut_off()),
        "restart": lines(worked_parts.restart()),
        "peukert": lines(worked_parts.peukert()),
        "acceptance": lines(worked_parts.acceptance()),
        "cold": worked_parts.cold(),
        "dark": dark_widths(),
        "steps": worked_house.steps(),
        "scales": lines(worked_house.scales()),
        "inverter_rows": worked_parts.inverter_rows(),
        "generator_runs": lines(worked_house.generator_runs()),
        "data_sheet": lines(worked_parts.from_data_sheet()),
        "load_lines": lines(worked_parts.loads()),
        "sun_rows": worked_parts.sun_rows(),
        "measured_idle": lines(worked_house.measured_idle()),
        "size": lines(worked_house.size()),
        "week": lines(worked_house.week()),
        "ageing": ageing,
        "aged": [(cell.name, ageing.ageing_of(cell)) for cell in cells],
        "accuracies": ACCURACIES,
        "cells": [(cell, facts(cell)) for cell in cells],
        "values": [(field_label(name), [shown(cell, name) for cell in cells]) for name in VALUE_FIELDS],
        "presets": list(climates.presets().values()),
        "stations": station_spells(),
        "window_days": WINDOW_DAYS,
        "made": MADE_YEARS,
        "rough": ROUGH,
        "autonomy": {"end_of_life": END_OF_LIFE_SHARE, "margin": MARGIN},
        "contradiction_share": CONTRADICTION_SHARE,
        "book": BOOK,
        "climates": [climates.load(key) for key in climates.names()],
    }


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show how everything is worked out."""
    return render(request, "method.html", **content())
