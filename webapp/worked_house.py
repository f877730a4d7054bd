"""A small household for “How it is worked out”: its answers, small enough to be followed by hand.

Sixteen cells, one inverter, one steady load. Every number is asked of the engine; the text beside it says
which numbers go in.
"""

from __future__ import annotations

import dataclasses
from datetime import datetime, timedelta

from engine.answers.answer import Worked
from engine.answers.autonomy import autonomy
from engine.answers.comparing import comparing
from engine.answers.measuring_idle import idle_draw
from engine.answers.measuring_readings import Readings
from engine.answers.sizing import sizing
from engine.cells.chemistry import Chemistry
from engine.house.bank import Bank, Board
from engine.house.generator import Generator
from engine.house.household import Household
from engine.house.inverter import Inverter
from engine.house.loads import Load
from engine.house.step_down import StepDown, step_down
from engine.sky.days import owner_dull_day, parse_sky
from engine.sky.site import Array, Sun
from engine.sources import Source
from webapp.worked_parts import ROOM_C, SITE

AT = datetime(2026, 11, 25, 18)
MONTH = AT.month
COLD_C = 5.0


def ideal_cell() -> Chemistry:
    """Return a cell of constant volts without losses, so that sums can be done by hand."""
    return Chemistry(
        id="ideal",
        name="A cell of constant volts",
        soc=(0.0, 1.0),
        ocv_v=(3.2, 3.2),
        r_slow_v_per_c=(0.0, 0.0),
        r_fast_v_per_c=(0.0, 0.0),
        v_nominal=3.2,
        v_low=2.5,
        v_full=3.65,
        v_charge=3.65,
        v_max=3.65,
        sources={"ocv_v": Source(kind="assumed", text="constant volts, for sums by hand")},
    )


def small_house(load_w: float = 300.0, chemistry: Chemistry | str | None = None, cell_c: float = ROOM_C) -> Household:
    """Return the household of the examples: sixteen cells of 280 Ah, one inverter, one steady load."""
    inverter = Inverter(
        id="main",
        name="Inverter",
        dc_min_v=40.0,
        dc_max_v=60.0,
        restart_v=44.0,
        rated_w=5000.0,
        idle_w=40.0,
        k1=1.0 / 0.93 - 1.0,
        k2=0.0,
    )
    bank = Bank(
        id="bank",
        name="Bank",
        chemistry=chemistry or ideal_cell(),
        inverter="main",
        series=16,
        label_ah=280.0,
        cell_c=cell_c,
        hold=True,
        reserve_soc=0.2,
        board=Board(cell_low_v=2.5, cell_high_v=3.65, current_limit_a=200.0),
    )
    roof = Array(id="roof", name="Roof", kwp=4.0, tilt_deg=35.0, azimuth_deg=180.0)
    return Household(
        name="Small house",
        site=SITE,
        sun=Sun(arrays=(roof,), charger_efficiency=0.95, dull_day_kwh=3.0),
        inverters=(inverter,),
        banks=(bank,),
        loads=(Load(id="all", name="Everything", kind="steady", can_shed=True, values={"power_w": load_w}),),
    )


def generator_runs() -> tuple[Worked, ...]:
    """The small house from 80 % without sun for tonight and two days, with a generator."""
    engine = Generator(
        id="engine",
        name="Generator",
        rated_w=3000.0,
        charger_w=2000.0,
        full_l_per_h=1.2,
        idle_l_per_h=0.4,
        start_soc=0.5,
        stop_soc=0.8,
        least_run_h=0.0,
    )
    house = dataclasses.replace(small_house(), generators=(engine,))
    answer = autonomy(house, {"bank": 0.8}, parse_sky("none", house.site, house.sun, MONTH, 2), AT)
    helped = answer.banks[0].with_generator
    assert helped is not None
    assert helped.first_start_h is not None
    given_w = 300.0 + engine.charger_w / engine.charger_efficiency
    return (
        Worked(
            label="It first starts after",
            how="(0.80 − 0.50) × 14.336 kWh ÷ (300 W ÷ 0.93 + 40 W idle)",
            value=helped.first_start_h,
            unit="h",
        ),
        Worked(
            label="Hours run",
            how=f"{helped.starts} runs of (0.80 − 0.50) × 14.336 kWh ÷ (2000 W − 40 W idle)",
            value=helped.run_h,
            unit="h",
        ),
        Worked(
            label="Fuel of one hour",
            how="0.4 l + (1.2 − 0.4) l × (300 W + 2000 W ÷ 0.90) ÷ 3000 W",
            value=engine.litres(given_w, 1.0),
            unit="l",
        ),
        Worked(label="Fuel burnt", how="hours × fuel of one hour", value=helped.litres, unit="l"),
    )


def hours_left() -> tuple[Worked, ...]:
    """From 80 % to a reserve of 20 % at 300 W without sun."""
    house = small_house()
    bank, inverter = house.banks[0], house.inverters[0]
    answer = autonomy(house, {bank.id: 0.8}, parse_sky("none", house.site, house.sun, MONTH, 8), AT)
    stored_kwh, drawn_w = bank.stored_kwh(bank.reserve_soc, 0.8), inverter.dc_w(300.0)
    return (
        Worked(
            label="In the bank above its reserve",
            how="(0.80 − 0.20) × 16 cells × 280 Ah × 3.2 V",
            value=stored_kwh,
            unit="kWh",
        ),
        Worked(label="Drawn from it", how="300 W ÷ 0.93 + 40 W idle", value=drawn_w, unit="W"),
        Worked(
            label="Hours left",
            how=f"{stored_kwh * 1000:.0f} Wh ÷ {drawn_w:.1f} W",
            value=answer.hours_to_reserve or 0.0,
            unit="h",
        ),
    )


def hours_left_really() -> tuple[Worked, ...]:
    """The same with LFP cells at 5 degC: the engine's own worked lines."""
    house = small_house(chemistry="lfp", cell_c=COLD_C)
    sky = parse_sky("none", house.site, house.sun, MONTH, 8)
    return autonomy(house, {"bank": 0.8}, sky, AT).banks[0].worked


def spread() -> tuple[Worked, ...]:
    """Low, likely and high hours of the small house under two dark days and two dull ones."""
    house = small_house()
    sky = parse_sky("dark,dark,dull,dull", house.site, dataclasses.replace(house.sun, dull_day_kwh=None), MONTH, 10)
    answer = autonomy(house, {"bank": 0.8}, sky, AT)
    lines = (
        ("Low", "each day at the dim end of its word, loads a tenth higher", answer.low_hours),
        ("Likely", "dark at kc 0.10, dull at kc 0.30, loads as typed", answer.hours_to_reserve),
        ("High", "each day at the light end of its word, loads a tenth lower", answer.high_hours),
    )
    return tuple(Worked(label=label, how=how, value=hours or 0.0, unit="h") for label, how, hours in lines)


def size() -> tuple[Worked, ...]:
    """Three dull days of 3 kWh at 12 kWh a day, window 90 to 20 %: the engine's own worked lines."""
    house = small_house(load_w=500.0)
    house = dataclasses.replace(house, banks=(dataclasses.replace(house.banks[0], top_soc=0.9),))
    spell = owner_dull_day(house.site, house.sun, MONTH, 7)
    assert spell is not None
    return sizing(house, house.supplies()[0], 3, MONTH, spell).worked


def steps() -> tuple[StepDown, ...]:
    """From the label to the sockets: the small house's bank with LFP cells at 5 degC and 300 W."""
    house = small_house(chemistry="lfp", cell_c=COLD_C)
    inverter = house.inverters[0]
    return step_down(house.banks[0], inverter, 300.0, inverter.dc_w(300.0))


def scales() -> tuple[Worked, ...]:
    """One state of a bank on four scales: tested Ah, label Ah, Ah drawn, share of the window."""
    bank = Bank(
        id="b",
        name="Bank",
        chemistry="lead_sealed",
        series=24,
        parallel=2,
        label_ah=420.0,
        tested_ah=330.0,
        reserve_soc=0.45,
    )
    charge = 0.6
    label_ah = bank.label_ah * bank.parallel
    return (
        Worked(label="On the tool’s scale", how="share of tested Ah", value=charge * 100.0, unit="%"),
        Worked(label="Ampere-hours in it", how=f"0.60 × 2 × {bank.tested_ah:g} Ah", value=charge * bank.ah, unit="Ah"),
        Worked(
            label="On a monitor set to the label",
            how=f"full less what was drawn, of 2 × {bank.label_ah:g} Ah",
            value=100.0 * (1.0 - (1.0 - charge) * bank.ah / label_ah),
            unit="%",
        ),
        Worked(
            label="Of what you allow yourself",
            how="(0.60 − 0.45) ÷ (1 − 0.45)",
            value=100.0 * (charge - bank.reserve_soc) / (1.0 - bank.reserve_soc),
            unit="%",
        ),
    )


def week() -> tuple[Worked, ...]:
    """The energy balance of each chemistry over a measured week: its largest gap, of the turnover."""
    house = small_house()
    sky = parse_sky("oceanic_7d_1in10", house.site, house.sun, MONTH, 11)
    answer = comparing(house, house.supplies()[0], sky, AT.replace(hour=0))
    worst = max(answer.contenders, key=lambda one: abs(one.balance_error_share))
    return (
        Worked(label="Hours run for each", how=f"{answer.sky_title}", value=answer.hours, unit="h"),
        Worked(
            label="Largest gap of the four",
            how="(sun taken − served − lost − change of store) ÷ the largest of these",
            value=abs(worst.balance_error_share) * 100.0,
            unit="%",
        ),
    )


def measured_idle() -> tuple[Worked, ...]:
    """The small house’s idle draw by two readings of a counter ten hours apart, with its error part by part."""
    house = small_house()
    supply = house.supplies()[0]
    began = AT + timedelta(hours=4)
    readings = Readings(meter="kwh", first=100.0, second=100.4, began=began, ended=began + timedelta(hours=10))
    answer = idle_draw(house, supply, AT, "kwh", readings)
    assert answer.result is not None
    parts = tuple(
        Worked(label=part.label, how=f"{part.how}; u", value=part.u, unit="W") for part in answer.result.parts[:3]
    )
    half = Worked(label="Give or take", how="2 × √(the sum of their squares)", value=answer.result.half, unit="W")
    return (*answer.worked, *parts, half)
