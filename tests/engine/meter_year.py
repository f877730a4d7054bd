"""A year of a made household, quarter hour by quarter hour, and what its meters would write of it.

The balance is this file's own: nothing of `engine.balance`, of the loads or of the meter's rooms is used. Of the engine
come only the cells' curves, the light on panels, and the shape of a household. The truth (capacity, efficiencies, idle
draw, self-discharge, strength of the panels, scales and zeros of the meters) is drawn by a seed and kept from the
learner, who gets a described household that is wrong in all of it, and files.
"""

from __future__ import annotations

import dataclasses
import itertools
import sys
from dataclasses import dataclass
from datetime import UTC, date, datetime
from math import erf
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from engine.answers.learning import Lesson, learn
from engine.cells import catalogue
from engine.cells.chemistry import arrays
from engine.house.bank import Bank
from engine.house.household import Household
from engine.house.inverter import Inverter
from engine.house.loads import Load
from engine.meter.log import MeterLog
from engine.meter.reading import guess, read
from engine.quantities import mean_day_of_year
from engine.sky.series import KcSeries
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import array_hours, yield_kwh

Floats = NDArray[np.float64]

DAYS, A_DAY, STEP_H = 365, 96, 0.25
ROWS = DAYS * A_DAY
PLACES = (
    (52.5, 13.4, "Europe/Berlin"),
    (-33.9, 151.2, "Australia/Sydney"),
    (40.4, -3.7, "Europe/Madrid"),
    (-17.8, 31.0, "Africa/Harare"),
    (53.3, -6.3, "Europe/Dublin"),
    (-41.3, 174.8, "Pacific/Auckland"),
)
CELLS = (("lfp", 16, 44.0), ("nmc", 14, 43.5), ("sodium_layered", 15, 33.0), ("lead_sealed", 24, 43.0))
WRITTEN = ("both sides", "by night", "counters", "pair")
"""Which meters a household has: see `written`."""


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What is so, and the household as it is described."""

    seed: int
    described: Household
    style: str
    ah: float
    idle_w: float
    k1: float
    k2: float
    coulombic_loss: float
    leak_per_month: float
    strength: float
    charger: float
    offset_v: float
    resistance: float
    load_w: Floats
    bus_w: Floats
    kc: Floats
    first: date

    @property
    def bank(self) -> Bank:
        return self.described.banks[0]


@dataclass(frozen=True, kw_only=True)
class Year:
    """What really flowed, row by row (ROWS,): W, A into the bank, V of the pack, charge at the end of each."""

    truth: Truth
    utc_s: Floats
    yield_w: Floats
    load_w: Floats
    draw_w: Floats
    bank_a: Floats
    bank_v: Floats
    soc: Floats

    @property
    def day_kwh(self) -> Floats:
        """Yield at the battery side of each day [kWh]."""
        return self.yield_w.reshape(DAYS, A_DAY).sum(axis=1) * STEP_H / 1000.0


def drawn(seed: int) -> Truth:
    """Draw a household by a seed."""
    chance = np.random.default_rng(1000 + seed)
    latitude, longitude, zone = PLACES[int(chance.integers(len(PLACES)))]
    south = latitude < 0
    site = Site(latitude_deg=latitude, longitude_deg=longitude, time_zone=zone)
    mean_w = chance.uniform(220.0, 520.0)
    rated_w = float(chance.integers(3, 9)) * 1000.0
    idle_w = chance.uniform(12.0, 60.0)
    described, ah = _described(chance, seed, site, mean_w=mean_w, rated_w=rated_w, idle_w=idle_w)
    (roof,), chemistry = described.sun.arrays, described.banks[0].chemistry
    losses = chance.uniform(0.02, 0.3)
    charger = chance.uniform(0.92, 0.98)
    first = date(2023, int(chance.integers(1, 13)), 1)
    k1, k2 = chance.uniform(0.0, 0.04), chance.uniform(0.01, 0.06)
    coulombic_loss = chance.uniform(0.5, 1.5 if chemistry.startswith("lead") else 3.0)
    leak = chance.uniform(0.005, 0.04) + chance.choice([0.0, chance.uniform(0.0, 0.04) * 730.5 / ah])
    offset_v, resistance = chance.normal(0.0, 0.005), float(np.exp(chance.normal(0.0, 0.15)))
    load_w = _loads(chance, mean_w, first, south=south)
    panels_w, kc = _sun(chance, site, roof, losses, first, south=south)
    return Truth(
        seed=seed,
        described=described,
        style=WRITTEN[(seed // len(CELLS) + seed) % len(WRITTEN)],
        ah=ah,
        idle_w=idle_w,
        k1=k1,
        k2=k2,
        coulombic_loss=coulombic_loss,
        leak_per_month=leak,
        strength=1.0 - losses,
        charger=charger,
        offset_v=offset_v,
        resistance=resistance,
        load_w=load_w,
        bus_w=panels_w * charger,
        kc=kc,
        first=first,
    )


def _described(
    chance: np.random.Generator, seed: int, site: Site, *, mean_w: float, rated_w: float, idle_w: float
) -> tuple[Household, float]:
    """The household as its people describe it, more or less rightly, and the Ah its bank truly has."""
    chemistry, series, cut_v = CELLS[seed % len(CELLS)]
    south = site.south
    kwp = round(float(mean_w * 24.0 / 1000.0 * chance.uniform(0.4, 1.2)), 1)
    roof = Array(
        id="roof",
        name="Roof",
        kwp=kwp,
        tilt_deg=float(chance.integers(20, 50)),
        azimuth_deg=float((0 if south else 180) + chance.integers(-40, 41)) % 360.0,
    )
    cell = catalogue.load(chemistry)
    ah = mean_w * 24.0 * chance.uniform(1.5, 3.5) / (series * cell.v_nominal)
    bank = Bank(
        id="bank",
        name="Bank",
        chemistry=chemistry,
        inverter="house",
        series=series,
        label_ah=round(ah / chance.uniform(0.75, 1.0), 0),
        hold=True,
        cell_c=20.0,
        reserve_soc=0.1,
    )
    inverter = Inverter(
        id="house",
        name="Inverter",
        dc_min_v=cut_v,
        dc_max_v=66.0,
        restart_v=cut_v + 3.0,
        rated_w=rated_w,
        idle_w=round(idle_w * chance.uniform(0.5, 1.7), 0),
        k1=0.02,
        k2=0.0375,
    )
    household = Household(
        name=f"House {seed}",
        site=site,
        sun=Sun(arrays=(roof,)),
        inverters=(inverter,),
        banks=(bank,),
        loads=(
            Load(id="all", name="All", kind="steady", values={"power_w": round(mean_w * chance.uniform(0.6, 1.4))}),
        ),
    )
    return household, ah


def _season(first: date, *, south: bool) -> Floats:
    """Winter is 1, summer -1, by day."""
    doy = (np.datetime64(first, "D") + np.arange(DAYS)).astype("datetime64[D]")
    day = (doy - doy.astype("datetime64[Y]")).astype(float)
    return np.cos(2 * np.pi * (day - 10.0) / 365.0) * (-1.0 if south else 1.0)


def _loads(chance: np.random.Generator, mean_w: float, first: date, *, south: bool) -> Floats:
    """Standby, humps of morning and evening, the week, the season and things switched on and off [W]."""
    quarter = np.arange(A_DAY) * STEP_H
    hump = np.exp(-0.5 * ((quarter - 7.5) / 1.2) ** 2) + 1.8 * np.exp(-0.5 * ((quarter - 19.5) / 2.0) ** 2)
    weekday = (np.datetime64(first, "D").astype(int) + 3 + np.arange(DAYS)) % 7
    week = np.where(weekday >= 5, chance.uniform(1.1, 1.5), 1.0) * np.exp(chance.normal(0.0, 0.05, 7))[weekday]
    size = week * (1.0 + chance.uniform(0.0, 0.25) * _season(first, south=south)) * np.exp(chance.normal(0, 0.15, DAYS))
    shape = 0.35 + hump[None, :] * size[:, None] * np.exp(chance.normal(0.0, 0.35, (DAYS, A_DAY)))
    fridge = (np.arange(ROWS) // 2 % 2).reshape(DAYS, A_DAY) * 0.25
    kettle = (chance.random((DAYS, A_DAY)) < 0.02 * (hump > 0.2)) * chance.uniform(2.0, 5.0)
    watts = shape + fridge + kettle
    return (watts / watts.mean() * mean_w).ravel()


def _sun(
    chance: np.random.Generator, site: Site, roof: Array, losses: float, first: date, *, south: bool
) -> tuple[Floats, Floats]:
    """What the panels could give at their charger [W], and kc of the days: a chain of skies, clouds, a bad month."""
    sky, skies = chance.normal(), np.empty(DAYS)
    for day in range(DAYS):
        sky = 0.5 * sky + 0.75**0.5 * chance.normal()
        skies[day] = 0.5 * (1.0 + erf(sky / 2.0**0.5))
    kc = 1.03 * skies ** (0.6 + 0.3 * _season(first, south=south))
    dates = np.datetime64(first, "D") + np.arange(DAYS)
    doy = (dates - dates.astype("datetime64[Y]")).astype(int) + 1
    hours = array_hours(site, Sun(arrays=(roof,), system_losses=losses), kc, doy)["roof"]
    watts = np.repeat(hours, 4).reshape(DAYS, A_DAY)
    clouds = np.exp(chance.normal(0.0, 0.3, (DAYS, A_DAY)) * (1.03 - kc)[:, None])
    lit = watts.sum(axis=1)
    watts = watts * clouds
    watts *= (lit / np.maximum(watts.sum(axis=1), 1e-9))[:, None]
    bad = int(chance.integers(0, DAYS - 30))
    watts[bad : bad + 25] *= 0.0 if chance.random() < 0.5 else 0.6
    return watts.ravel(), kc


def lived(truths: list[Truth]) -> list[Year]:
    """Live a year of several households at once."""
    n = len(truths)
    each = [arrays(t.bank.cell, t.bank.cell_c) for t in truths]
    names = ("ocv_v", "r_slow", "r_drawn", "coulombic")
    ocv, r, r_drawn, eta = (np.stack([getattr(one, name) for one in each]) for name in names)
    ocv = ocv + np.array([t.offset_v for t in truths])[:, None]
    r, r_drawn = (values * np.array([t.resistance for t in truths])[:, None] for values in (r, r_drawn))
    eta = 1.0 - np.array([t.coulombic_loss for t in truths])[:, None] * (1.0 - eta)
    steps = ocv.shape[1] - 1
    series = np.array([float(t.bank.series) for t in truths])
    ah = np.array([t.ah for t in truths])
    end_v = np.array([t.bank.charge_end_cell_v for t in truths])
    tau_h = np.array([t.bank.cell.acceptance_tau_h or 1e-6 for t in truths])
    most_c = np.array([t.bank.cell.charge_c_max for t in truths])
    inverters = [t.described.inverters[0] for t in truths]
    cut_v, restart_v = (np.array([getattr(i, name) for i in inverters]) / series for name in ("dc_min_v", "restart_v"))
    idle, k1, k2 = (np.array([getattr(t, name) for t in truths]) for name in ("idle_w", "k1", "k2"))
    rated = np.array([i.rated_w for i in inverters])
    leak_h = np.array([t.leak_per_month for t in truths]) / 730.5
    sun, load = np.stack([t.bus_w for t in truths], axis=1), np.stack([t.load_w for t in truths], axis=1)
    ends = _held_ends(ocv, r, eta, end_v, tau_h)
    rows = np.arange(n)
    soc, on = np.full(n, 0.7), np.ones(n, dtype=bool)
    out = {name: np.zeros((ROWS, n)) for name in ("yield_w", "load_w", "draw_w", "c", "v", "soc")}
    for k in range(ROWS):
        place = np.clip(soc * steps, 0.0, steps - 1.0)
        at = place.astype(np.int64)
        part = place - at
        low, high = ocv[rows, at], ocv[rows, at + 1]
        volts, slope = low + part * (high - low), (high - low) * steps
        gives = eta[rows, at]
        served = np.where(on, load[k], 0.0)
        draw = np.where(on, idle + (1.0 + k1) * served + k2 * served * served / rated, 0.0)
        net = (sun[k] - draw) / (series * ah)
        ohm = np.where(net > 0.0, r[rows, at], r_drawn[rows, at])
        firm = ohm + 0.5 * slope * STEP_H
        wanted = 2.0 * net / (volts + np.sqrt(np.maximum(volts * volts + 4.0 * firm * net, 0.04)))
        held = (ends[rows, at] + part * (ends[rows, at + 1] - ends[rows, at]) - soc) / (gives * STEP_H)
        most = np.minimum(held, most_c)
        c = np.where(net > 0.0, np.minimum(wanted, np.maximum(most, 0.0)), wanted)
        gain = np.where(c > 0.0, gives * c, c) * STEP_H
        full = (c > 0.0) & (c < wanted) & (c >= held)
        middle_v = np.where(full, end_v, volts + 0.5 * slope * gain + ohm * c)
        taken = draw + series * ah * c * middle_v
        out["yield_w"][k], out["load_w"][k], out["draw_w"][k] = np.maximum(taken, 0.0) * (sun[k] > 0), served, draw
        out["c"][k], out["v"][k] = c, middle_v
        soc = np.clip(soc + gain - leak_h * STEP_H, 0.0, 1.0)
        out["soc"][k] = soc
        on = np.where(on, (middle_v >= cut_v) & (soc > 0.005), (middle_v >= restart_v) & (soc > 0.1))
    return [_year(t, j, out) for j, t in enumerate(truths)]


def _held_ends(ocv: Floats, r: Floats, eta: Floats, end_v: Floats, tau_h: Floats) -> Floats:
    """Charge that a step at the end volts comes to from each charge, implicit in time."""
    soc = np.linspace(0.0, 1.0, ocv.shape[1])
    taken = np.minimum((end_v[:, None] - ocv) / r, (1.0 - soc) / tau_h[:, None])
    begun = np.maximum.accumulate(soc - STEP_H * eta * taken, axis=1)
    return np.stack([np.interp(soc, one, soc) for one in begun])


def _year(t: Truth, j: int, out: dict[str, Floats]) -> Year:
    offset_h = t.described.site.utc_offset_h
    begin_s = datetime(t.first.year, t.first.month, 1, tzinfo=UTC).timestamp() - offset_h * 3600.0
    return Year(
        truth=t,
        utc_s=begin_s + 900.0 * np.arange(ROWS),
        yield_w=out["yield_w"][:, j],
        load_w=out["load_w"][:, j],
        draw_w=out["draw_w"][:, j],
        bank_a=out["c"][:, j] * t.ah,
        bank_v=out["v"][:, j] * t.bank.series,
        soc=out["soc"][:, j],
    )


def _scaled(chance: np.random.Generator, values: Floats, gain: float, noise: float = 0.01) -> Floats:
    return values * (1.0 + chance.normal(0.0, gain)) * (1.0 + chance.normal(0.0, noise, values.size))


def written(year: Year) -> bytes:
    """Write what the household's meters show as a file, with their faults.

    Each meter's scale is off by 1 % (95 %), its rows by 1 % (one in three), a shunt's zero by 20 mA (95 %). Gaps; a
    counter that is set back once; the clock on the wall, where the place has summer time.
    """
    t = year.truth
    chance = np.random.default_rng(5000 + t.seed)
    amps = _scaled(chance, year.bank_a, 0.005) + chance.normal(0.0, 0.01)
    volts = _scaled(chance, year.bank_v, 0.0015, 0.001)
    got, given, draw = (_scaled(chance, one, 0.005) for one in (year.yield_w, year.load_w, year.draw_w))
    draw = np.where(draw > 0.0, draw + chance.normal(0.0, 0.5), draw)
    watts = amps * volts
    columns: dict[str, Floats] = {"Panels [W]": got, "Load [W]": given, "Inverter DC [W]": draw}
    columns |= {"Battery current [A]": amps, "Battery voltage [V]": volts}
    if t.style == "by night":
        del columns["Inverter DC [W]"]
        columns["Battery power [W]"] = watts
    elif t.style == "counters":
        columns["Panels total [kWh]"] = _counted(chance, columns.pop("Panels [W]"))
        columns["Load total [kWh]"] = _counted(chance, columns.pop("Load [W]"))
    elif t.style == "pair":
        del columns["Battery current [A]"], columns["Inverter DC [W]"]
        columns["Charge current [A]"], columns["Discharge current [A]"] = np.maximum(amps, 0), np.maximum(-amps, 0)
    kept = np.ones(ROWS, dtype=bool)
    for _ in range(6):
        begin = int(chance.integers(ROWS))
        kept[begin : begin + int(chance.integers(2, 250))] = False
    stamps = _stamps(t, year.utc_s)
    table = np.column_stack(list(columns.values()))[kept]
    lines = [",".join(["Time", *columns])]
    form = ",".join(["%s", *(["%.3f"] * table.shape[1])])
    lines += [form % (when, *row) for when, row in zip(stamps[kept].tolist(), table.tolist(), strict=True)]
    return ("\n".join(lines) + "\n").encode()


def _counted(chance: np.random.Generator, watts: Floats) -> Floats:
    """What a counter shows at the beginning of each row, by 10 Wh, set back to nothing once."""
    kwh = np.concatenate(([0.0], np.cumsum(np.maximum(watts, 0.0)) * STEP_H / 1000.0))[:-1] + 1234.0
    reset = int(chance.integers(ROWS // 4, 3 * ROWS // 4))
    kwh[reset:] -= kwh[reset]
    return np.asarray(np.floor(kwh * 100.0) / 100.0)


def _stamps(t: Truth, utc_s: Floats) -> NDArray[np.str_]:
    """Each row's time on the clock on the wall."""
    zone = ZoneInfo(t.described.site.time_zone)
    hours, which = np.unique(np.floor(utc_s / 3600.0), return_inverse=True)
    offset_s = [datetime.fromtimestamp(h * 3600.0, tz=zone).utcoffset() for h in hours.tolist()]
    local = utc_s + np.array([one.total_seconds() for one in offset_s if one is not None])[which]
    return np.char.replace(np.datetime_as_string(local.astype("datetime64[s]"), unit="m"), "T", " ")


def logged(year: Year) -> MeterLog:
    """Write the files of a household and read them as the program reads a person's."""
    content = written(year)
    log, _ = read(content, guess(content), ZoneInfo(year.truth.described.site.time_zone))
    return log


def sky_record(t: Truth) -> KcSeries:
    """What a station some way off says of the sky: each day out by 5 % (one in three)."""
    chance = np.random.default_rng(9000 + t.seed)
    kc = np.clip(t.kc * (1.0 + chance.normal(0.0, 0.05, DAYS)), 0.0, 1.1)
    return KcSeries(first=t.first, kc=kc, basis="measured", title="a station")


def truth_of(year: Year, log: MeterLog, lesson: Lesson) -> float:
    """What a lesson should have found, from what really flowed and the truth that was drawn."""
    t = year.truth
    if lesson.id == "losses":
        on = year.draw_w > 0.0
        seen = on if "load_dc_w" in log.values else on & (year.yield_w < 5.0)
        return float(year.load_w[seen].sum() / year.draw_w[seen].sum())
    if lesson.id in ("clear_day", "panels"):
        return _clear_day_kwh(t, int(lesson.changes[0].fields["clear_day_month"]))
    if lesson.id == "dull_day":
        return _dullest_week_kwh(year, log)
    return {
        "idle": lambda: t.idle_w,
        "loads": lambda: float(year.load_w.mean()) * 24.0 / 1000.0,
        "monthly_kwh": lambda: float(year.day_kwh.mean()) / t.described.sun.charger_efficiency,
        "capacity": lambda: t.ah,
        "charge_efficiency": lambda: _given_back(year, log),
        "self_discharge": lambda: t.leak_per_month,
    }[lesson.id]()


def _clear_day_kwh(t: Truth, month: int) -> float:
    """A clear day of the true panels, before a charger of the described efficiency [kWh]."""
    sun = dataclasses.replace(t.described.sun, system_losses=1.0 - t.strength)
    before = float(yield_kwh(t.described.site, sun, [1.0], [mean_day_of_year(month)])[0])
    return before * t.charger / t.described.sun.charger_efficiency


def _dullest_week_kwh(year: Year, log: MeterLog) -> float:
    """The week that gave least of those known for 23 hours of each day, days of next to nothing apart [kWh a day]."""
    t = year.truth
    known = np.isin(year.utc_s, log.start_s[np.isfinite(log.values["yield_w"])])
    whole = (known.reshape(DAYS, 24, 4).sum(axis=2) >= 3).sum(axis=1) >= 23
    kwh = year.day_kwh / t.described.sun.charger_efficiency
    dates = np.datetime64(t.first, "D") + np.arange(DAYS)
    doy = (dates - dates.astype("datetime64[Y]")).astype(int) + 1
    lit = kwh >= 0.005 * yield_kwh(t.described.site, t.described.sun, np.ones(DAYS), doy)
    return float(
        np.nanmin(np.lib.stride_tricks.sliding_window_view(np.where(whole & lit, kwh, np.nan), 7).mean(axis=1))
    )


def _given_back(year: Year, log: MeterLog) -> float:
    """Charge stored of what was put in, over the stretches from full to full that the log knows [-]."""
    t = year.truth
    day = year.soc.reshape(DAYS, A_DAY)
    near = year.soc.max() - 0.04
    ends = [d * A_DAY + int(np.flatnonzero(day[d] > near)[-1]) for d in range(DAYS) if (day[d] > near).any()]
    known = np.isin(year.utc_s, log.start_s)
    stored = put = 0.0
    for begin, end in itertools.pairwise(ends):
        rows = slice(begin + 1, end + 1)
        if known[rows].mean() > 0.995:
            rise = np.diff(year.soc[begin : end + 1]) + t.leak_per_month / 730.5 * STEP_H
            stored += float(np.maximum(rise, 0.0).sum() * t.ah)
            put += float(np.maximum(year.bank_a[rows], 0.0).sum() * STEP_H)
    return stored / put


def _count(seeds: range) -> None:
    """Print how many intervals of each lesson hold the truth, and how wide they are."""
    held: dict[str, list[tuple[bool, float]]] = {}
    for begin in range(0, len(seeds), 10):
        for year in lived([drawn(seed) for seed in seeds[begin : begin + 10]]):
            log = logged(year)
            for one in learn(year.truth.described, log, kc=sky_record(year.truth)).lessons:
                inside = one.low <= truth_of(year, log, one) <= one.high
                wide = (one.high - one.low) / 2.0 / max(one.value, 1e-9)
                held.setdefault(one.id, []).append((inside, wide))
    for name, found in held.items():
        inside, wide = zip(*found, strict=True)
        print(f"{name:18s} {sum(inside)} of {len(inside)}, half as wide as {np.median(wide) * 100:.1f} % of it")


if __name__ == "__main__":
    _count(range(int(sys.argv[1]), int(sys.argv[2])))
