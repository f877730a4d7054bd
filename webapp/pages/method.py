"""How it is worked out: every model with its formula, source, limits and a worked number."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.autonomy import LOAD_SPREAD_SHARE
from engine.answers.autonomy_days import END_OF_LIFE_SHARE, MARGIN
from engine.answers.bench_forecast import AFTER_SHARE, LABEL_SHARE, PRIOR_UNKNOWN, PRIORS, SENSOR_SHARE
from engine.answers.charging import ASSUMED_LOAD_C
from engine.answers.lasting import NIGHT_SHARE
from engine.answers.notices_bank import STATED_WITHIN
from engine.answers.notices_charge import BOARD_ROOM_V
from engine.answers.notices_reading import NEARLY_FULL_SOC
from engine.answers.notices_sky import CUT_SHARE, FAR_KM, LARGE_KWP, LATE_START_SHARE, USUAL_SCALE
from engine.answers.notices_wiring import FUSE_MARGIN
from engine.answers.promise_book import CLAIM_SHARE, LEAST_SCORED, MOST_WIDE, NEWEST, SURE_SHARE
from engine.answers.promises import BEST_H, FIRST_H, LAST_H, READ_SOC
from engine.answers.sizing import RECOVERY_DAYS
from engine.balance.step import MAX_SOC_STEP, MAX_TAPER_H
from engine.cells import ageing, catalogue
from engine.cells.chemistry import field_label
from engine.cells.sight import BLIND_SHARE, CLEAR_SHARE, RESOLUTION_MV
from engine.house.charge_scales import FLAT_SOC, UNSURE_CELL_V
from engine.house.load_notes import (
    LARGE_LOAD_KWH,
    LEAST_MOTOR_W,
    LEAST_STEADY_W,
    LEGIONELLA_C,
    MOST_HOUSE_KWH,
    MOST_STEADY_W,
    PUMP_BAND_KWH,
)
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
from webapp.render import Page, fixed, render

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """What was held against what, and how far apart they came; a test finds `numbers` again."""

    id: str
    what: str
    judge: str
    result: str
    numbers: tuple[float, ...]
    digits: int
    signed: bool = False

    @property
    def sentence(self) -> str:
        """The result with its numbers, signed where they are differences."""
        plus = ["+" if self.signed and number > 0.0 else "" for number in self.numbers]
        return self.result.format(
            *(sign + fixed(number, self.digits) for sign, number in zip(plus, self.numbers, strict=True))
        )


ACCURACIES = (
    Accuracy(
        id="sun",
        what="Where the sun stands",
        judge="NREL’s solar position algorithm in pvlib: six places from near the pole to the tropics, 2006 to 2044",
        result="within {} degrees",
        numbers=(0.16,),
        digits=2,
    ),
    Accuracy(
        id="clear-day",
        what="Clear days of a month, where the noon sun stands above 10 degrees",
        judge="Ineichen’s clear sky in pvlib with its own maps: eight places from 55° S to 65° N, chosen beforehand",
        result="within {} % in the worst month",
        numbers=(2.6,),
        digits=1,
    ),
    Accuracy(
        id="world-months",
        what="How clear the months are by the world table",
        judge="the months as measured in the Netherlands, in Ireland and in North Carolina",
        result="{} % to {} % in single months",
        numbers=(-16.4, 16.1),
        digits=1,
        signed=True,
    ),
    Accuracy(
        id="dull-plane",
        what="Light on tilted panels on dull days (less than 0.4 of a clear one)",
        judge="hours of beam and diffuse light with Perez’s model in pvlib: typical years of Greensboro, of Sand Point "
        "and of 45° N 8° E",
        result="{} %, {} % and {} % over all dull days",
        numbers=(1.6, 1.4, -1.4),
        digits=1,
        signed=True,
    ),
    Accuracy(
        id="dull-yield",
        what="Yield of the panels on the same days",
        judge="the same, with PVWatts at the files’ air temperature, which cools the cells in winter",
        result="{} %, {} % and {} %",
        numbers=(-1.8, -4.1, -4.3),
        digits=1,
        signed=True,
    ),
    Accuracy(
        id="year-yield",
        what="Yield over the whole typical year, bright days included",
        judge="the same",
        result="{} %, {} % and {} %: too little in the winter of high latitudes (Sand Point, 55° N), the careful side",
        numbers=(-0.1, -10.3, -1.5),
        digits=1,
        signed=True,
    ),
    Accuracy(
        id="charge-lfp",
        what="Charge reached by voltage, LFP, at 0.1C and 0.2C without a hold and held",
        judge="PyBaMM’s Doyle-Fuller-Newman cell, parameters Prada2013",
        result="mean {}, {} and {} points; worst {}, {} and {}",
        numbers=(0.1, 0.1, 0.1, 0.6, 0.5, 0.7),
        digits=1,
    ),
    Accuracy(
        id="charge-nmc",
        what="The same for NMC",
        judge="PyBaMM, parameters Chen2020",
        result="mean {}, {} and {} points; worst {}, {} and {}",
        numbers=(0.1, 0.1, 0.2, 0.4, 0.3, 0.4),
        digits=1,
    ),
    Accuracy(
        id="charge-fast",
        what="The same at 0.5C without a hold, LFP and NMC: worst of all volts",
        judge="PyBaMM, as above",
        result="{} points on LFP’s flat stretch, where no voltage tells the charge, and {} points",
        numbers=(13.2, 4.3),
        digits=1,
    ),
    Accuracy(
        id="energy",
        what="Energy from full to empty at 0.1C and 0.2C, LFP then NMC",
        judge="PyBaMM, discharges that were not used to make the curves",
        result="{}, {}, {} and {} %",
        numbers=(0.0, 0.7, 0.0, -0.1),
        digits=1,
        signed=True,
    ),
    Accuracy(
        id="sodium",
        what="Sodium-ion: charge at 2.4, 2.8, 3.0, 3.6 and 3.8 V, 0.5C without a hold",
        judge="common practice without a source, another cell than the one measured: 6, 19, 42.6, 80 and 92.2 %",
        result="{}, {}, {}, {} and {} points",
        numbers=(-0.5, -0.6, -3.4, -3.9, -3.6),
        digits=1,
        signed=True,
    ),
    Accuracy(
        id="bench-table",
        what="A bench table made at 0.5C without and with a hold, read at 0.1C and 0.2C: LFP, then NMC",
        judge="PyBaMM’s own charges at those currents, every end voltage, LFP’s flat stretch included",
        result="mean {} and {} points, worst {} and {}; NMC mean {} and {}, worst {} and {}",
        numbers=(0.3, 0.6, 2.2, 3.4, 0.2, 0.4, 0.5, 1.1),
        digits=1,
    ),
    Accuracy(
        id="bench-log",
        what="The held column from one logged charge and one discharge (half the gap as resistance): LFP, then NMC",
        judge="PyBaMM’s own held charges",
        result="mean {} points, worst {}; NMC mean {}, worst {}",
        numbers=(0.5, 3.5, 0.8, 3.0),
        digits=1,
    ),
    Accuracy(
        id="house",
        what="Hours of a house’s day, January and July",
        judge="the German standard profile H0 of demandlib",
        result="{} and {} % of the day’s energy in an hour (root mean square)",
        numbers=(0.16, 0.12),
        digits=2,
    ),
)
"""Only what a test of this program measures again is listed."""

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
MARKS = (
    ("Banks: kWh on the label against Ah and volts", f"apart by more than {STATED_WITHIN * 100:g} %", "judgement"),
    (
        "Charge end under a board’s highest cell volts",
        f"nearer than {BOARD_ROOM_V:g} V a cell, where no spread is typed",
        "assumed",
    ),
    (
        "Charge now by rested volts",
        f"± {UNSURE_CELL_V * 1000:g} mV a cell leave more than {FLAT_SOC * 100:g} points open",
        "judgement",
    ),
    ("Sky now: a bank that may be held at its end volts", f"from {NEARLY_FULL_SOC * 100:g} % charge on", "judgement"),
    ("Sun: place against the climate chosen", f"farther than {fixed(FAR_KM)} km", "judgement"),
    ("Sun: a clear day’s kWh", f"outside {USUAL_SCALE[0]:g} to {USUAL_SCALE[1]:g} times the modelled one", "judgement"),
    ("Sun: a clear day that chargers cut off", f"by more than {CUT_SHARE * 100:g} %", "judgement"),
    (
        "Sun: panels in all; start of a solar charger",
        f"above {LARGE_KWP:g} kWp; above {LATE_START_SHARE * 100:g} % of its panels",
        "judgement",
    ),
    ("Wiring: fuse against a current of hours", f"closer than {FUSE_MARGIN:g} times", "typical, from memory"),
    ("Loads: kW typed for W", f"always on under {LEAST_STEADY_W:g} W, others under {LEAST_MOTOR_W:g} W", "judgement"),
    (
        "Loads: Wh, or a month, typed for W, or a day",
        f"always on above {fixed(MOST_STEADY_W)} W; a house above {MOST_HOUSE_KWH:g} kWh a day",
        "judgement",
    ),
    ("Loads: one above all others together", f"from {LARGE_LOAD_KWH:g} kWh a day on", "judgement"),
    ("Loads: a pool pump’s day", f"outside {PUMP_BAND_KWH[0]:g} to {PUMP_BAND_KWH[1]:g} kWh", "published"),
    ("Loads: hot water and legionella", f"below {LEGIONELLA_C:g} °C", "typical, from memory"),
    ("Charge volts: load of a bank that carries none", f"{ASSUMED_LOAD_C:g}C is taken", "assumed"),
)
"""Where a check or a note begins, and of which kind that mark is: what, mark, kind."""
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
