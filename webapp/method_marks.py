"""Where checks and notes begin, for the page that says how everything is worked out."""

from __future__ import annotations

from engine.answers.charging import ASSUMED_LOAD_C
from engine.answers.notices_bank import STATED_WITHIN
from engine.answers.notices_charge import BOARD_ROOM_V
from engine.answers.notices_reading import NEARLY_FULL_SOC
from engine.answers.notices_sky import CUT_SHARE, FAR_KM, LARGE_KWP, LATE_START_SHARE, USUAL_SCALE
from engine.answers.notices_wiring import FUSE_MARGIN
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
from webapp.render import fixed

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
