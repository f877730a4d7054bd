"""The household’s own bank run again on measured yield and draw, against the charge that the monitor showed.

Each run begins at the monitor’s charge in the middle of an hour and goes on while yield and draw are known, at most
`RUN_DAYS`; then the next begins at the monitor’s charge again. The reserve is left out: what was drawn was drawn. A
charge is the mean of an hour, compared in the hour in which the monitor was lowest that day. Not modelled: cells that
warm and cool through the year, a bank that ages during the log.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.answers.checking_parts import Errors, Floats, by_day, errors, filled, spans
from engine.answers.coming import LEAST_MEAN_W
from engine.balance.bus_plant import BusState, bus_plant, on_the_bus
from engine.balance.bus_run import bus_run
from engine.balance.forcing import drawn_hours
from engine.balance.step import State, plant
from engine.balance.trajectory import run
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter
from engine.meter.hours import MeterHours
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

FILLED_H = 2
"""A hole in yield or draw of at most so many hours is bridged by a straight line (judgement)."""
LEAST_RUN_H = 48
"""Shorter stretches are left out (judgement: a charge needs a night and a day to go wrong)."""
RUN_DAYS = 14
"""Longest run from one charge of the monitor, as the longest spells the other pages ask about (choice)."""
LEAST_CHARGE_HOURS = 18
"""Hours of a day on which the monitor’s charge must be known for its lowest to count (judgement)."""
GENERATOR_W = 10.0
"""Above it a generator or the grid was on (judgement: below lies what meters are known to)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeCheck:
    """The monitor’s charge against the runs, as shares; positive where the monitor showed more.

    Attributes
    ----------
    days, runs : int
        Days compared, and runs they come from.
    mean_error_soc, bias_soc : float
        Mean without sign, and with it [-].
    drift_per_day : float
        Growth of the error from a run’s start, by least squares through that start [- a day].
    run_days : float
        Mean length of the runs [days].
    """

    days: int
    runs: int
    run_days: float
    mean_error_soc: float
    bias_soc: float
    drift_per_day: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EnergyCheck:
    """What went into and came out of the bank by its own meter, against yield less draw [kWh a day]."""

    into: Errors
    out_of: Errors


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Powers:
    """Hours in a row, (24 n,) [W]: yield after the charger, loads at the sockets and at the battery side.

    `side` is the one the draw was measured on; `inverter` turns `ac_w` into what is drawn from the bank.
    """

    sun_w: Floats
    ac_w: Floats
    dc_w: Floats
    inverter: Inverter
    side: str

    @property
    def known(self) -> NDArray[np.bool_]:
        """Where all of them are."""
        return np.isfinite(self.sun_w) & np.isfinite(self.ac_w) & np.isfinite(self.dc_w)

    @property
    def net_w(self) -> Floats:
        """What is left for the bank; negative where it gives [W]."""
        drawn_w = np.full(self.sun_w.size, np.nan)
        there = self.known
        drawn_w[there] = drawn_hours(self.inverter, self.ac_w[there], self.dc_w[there])
        return np.asarray(self.sun_w - drawn_w)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChargeHours:
    """The monitor’s charge and the runs’, (24 n,) hourly means [-], NaN where there is none; `run` numbers the runs.

    `into_soc` is what yield less draw would move the charge in each hour, by the energy the bank stores [- an hour].
    """

    dates: NDArray[np.datetime64]
    monitor: Floats
    rerun: Floats
    run: NDArray[np.int64]
    begins: tuple[int, ...]
    into_soc: Floats
    top_soc: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChargeDays:
    """Each day at the hour of the monitor’s lowest, (n,): both charges [-], the run and days since its start."""

    monitor: Floats
    rerun: Floats
    run: NDArray[np.int64]
    since_days: Floats

    @property
    def error(self) -> Floats:
        """The monitor’s charge less the run’s [-]."""
        return np.asarray(self.monitor - self.rerun)


def powers(supply: Supply, hours: MeterHours, dc_w: Floats, charger_efficiency: float) -> Powers:
    """Return the powers that a supply’s bank is run on.

    Parameters
    ----------
    dc_w : (24 n,) array
        Loads measured or run at the battery side, as the household has them, added where the draw is of the sockets.
    charger_efficiency : float
        Of the charger a generator or the grid goes through [-].
    """
    sun_w = filled(hours.values["yield_w"].ravel(), FILLED_H)
    ac_w, draw = _column(hours, "load_w"), _column(hours, "load_dc_w")
    generator_w = _column(hours, "generator_w")
    running = np.zeros(sun_w.size, dtype=bool) if generator_w is None else ~(generator_w <= GENERATOR_W)
    if draw is not None and (ac_w is None or np.isfinite(draw).sum() >= np.isfinite(ac_w).sum()):
        bare = dataclasses.replace(supply.inverter, idle_w=0.0, k1=0.0, k2=0.0, rated_w=1_000_000.0)
        draw = np.where(running, np.nan, draw)
        return Powers(sun_w=sun_w, ac_w=draw, dc_w=np.zeros(sun_w.size), inverter=bare, side="battery")
    assert ac_w is not None
    if generator_w is not None:
        left = np.where(running, generator_w - ac_w, 0.0)
        sun_w = sun_w + np.maximum(left, 0.0) * charger_efficiency
        ac_w = np.where(running, np.maximum(-left, 0.0), ac_w)
    return Powers(sun_w=sun_w, ac_w=ac_w, dc_w=dc_w, inverter=supply.inverter, side="sockets")


def _column(hours: MeterHours, key: str) -> Floats | None:
    found = hours.values.get(key)
    return None if found is None or not np.isfinite(found).any() else filled(found.ravel(), FILLED_H)


def charge_hours(supply: Supply, hours: MeterHours, given: Powers) -> tuple[ChargeHours, int]:
    """Run the bank on what was measured; also return how many hours lie in stretches too short to run."""
    monitor = hours.values["charge"].ravel()
    rerun, number = np.full(monitor.size, np.nan), np.full(monitor.size, -1)
    begins: list[int] = []
    short = 0
    for begin, end in spans(given.known):
        at = begin
        while at < end:
            shown = np.flatnonzero(np.isfinite(monitor[at:end]))
            if not shown.size or end - (at + int(shown[0])) < LEAST_RUN_H:
                short += end - at
                break
            first = at + int(shown[0])
            last = min(first + RUN_DAYS * HOURS_PER_DAY, end)
            last = end if end - last < LEAST_RUN_H else last
            rerun[first:last] = _run(supply, given, first, last, float(monitor[first]))
            number[first:last] = len(begins)
            begins.append(first)
            at = last
    stored_wh = sum(bank.stored_kwh(0.0, 1.0) for bank in supply.banks) * WH_PER_KWH
    found = ChargeHours(
        dates=hours.dates,
        monitor=monitor,
        rerun=rerun,
        run=number,
        begins=tuple(begins),
        into_soc=given.net_w / stored_wh,
        top_soc=min(bank.top_reached_soc for bank in supply.banks),
    )
    return found, short


def _run(supply: Supply, given: Powers, first: int, last: int, soc: float) -> Floats:
    """The charge of the bank in each hour, from the middle of the first on."""
    inverter = given.inverter
    lists = [one[first:last].tolist() for one in (given.sun_w, given.ac_w, given.dc_w)]
    mean_w = max(float(drawn_hours(inverter, given.ac_w[first:last], given.dc_w[first:last]).mean()), LEAST_MEAN_W)
    banks = tuple(dataclasses.replace(bank, reserve_soc=0.0, reserve_v=None) for bank in supply.banks)
    start = min(max(soc, 0.0), 1.0)
    if len(banks) == 1:
        edges = run(plant(banks[0], inverter, mean_w), State(start), *lists, first_h=0.5).soc
    else:
        shared = bus_plant(on_the_bus(banks), inverter, mean_w)
        edges = bus_run(shared, BusState((start,) * len(banks)), *lists, first_h=0.5).soc
    means = (edges[:-1] + edges[1:]) / 2.0
    means[0] = edges[0]
    return np.asarray(means)


def charge_days(hours: ChargeHours) -> ChargeDays:
    """Compare each whole day of a run at the hour at which the monitor was lowest."""
    monitor, rerun, number = by_day(hours.monitor), by_day(hours.rerun), hours.run.reshape(-1, HOURS_PER_DAY)
    both = np.isfinite(monitor) & np.isfinite(rerun)
    counts = both.sum(axis=1) >= LEAST_CHARGE_HOURS
    lowest = np.where(both, monitor, np.inf).argmin(axis=1)
    every = np.arange(monitor.shape[0])
    one_run = (number.min(axis=1) == number.max(axis=1)) & (number.min(axis=1) >= 0)
    counts &= one_run
    run_of = np.where(counts, number[every, lowest], -1)
    begins = np.array([*hours.begins, 0])[run_of]
    since = (every * HOURS_PER_DAY + lowest - begins) / HOURS_PER_DAY
    return ChargeDays(
        monitor=np.where(counts, monitor[every, lowest], np.nan),
        rerun=np.where(counts, rerun[every, lowest], np.nan),
        run=run_of,
        since_days=np.where(counts, since, np.nan),
    )


def charge_check(hours: ChargeHours, days: ChargeDays) -> ChargeCheck | None:
    """Return the errors of the charge; None where no whole day could be compared."""
    there = np.isfinite(days.error)
    if not there.any():
        return None
    error, since = days.error[there], days.since_days[there]
    lengths = np.bincount(hours.run[hours.run >= 0])
    squares = float((since * since).sum())
    return ChargeCheck(
        days=int(there.sum()),
        runs=int(np.unique(days.run[there]).size),
        run_days=float(lengths.mean()) / HOURS_PER_DAY,
        mean_error_soc=float(np.abs(error).mean()),
        bias_soc=float(error.mean()),
        drift_per_day=float((since * error).sum()) / squares if squares > 0.0 else 0.0,
    )


def bank_power(hours: MeterHours, nominal_v: float) -> tuple[Floats | None, bool]:
    """Return what went into the bank in each hour, (24 n,) [W], and whether its volts had to be taken as nominal."""
    watts, amps = hours.values.get("bank_w"), hours.values.get("bank_a")
    if watts is not None and np.isfinite(watts).any():
        return watts.ravel(), False
    if amps is None or not np.isfinite(amps).any():
        return None, False
    volts = hours.values.get("bank_v")
    if volts is not None and np.isfinite(volts).any():
        return (amps * volts).ravel(), False
    return amps.ravel() * nominal_v, True


def energy_check(into_w: Floats, given: Powers) -> EnergyCheck | None:
    """Return the errors of the energy into and out of the bank, on days of which nearly all hours are known."""
    net_w = given.net_w
    both = np.isfinite(into_w) & np.isfinite(net_w)
    whole = both.reshape(-1, HOURS_PER_DAY).sum(axis=1) >= LEAST_CHARGE_HOURS

    def daily(watts: Floats, sign: float) -> Floats:
        kwh = by_day(np.where(both, np.maximum(sign * watts, 0.0), 0.0)).sum(axis=1) / WH_PER_KWH
        return np.where(whole, kwh, np.nan)

    into = errors(daily(into_w, 1.0), daily(net_w, 1.0))
    out_of = errors(daily(into_w, -1.0), daily(net_w, -1.0))
    return None if into is None or out_of is None else EnergyCheck(into=into, out_of=out_of)


def why_no_run(household: Household, supplies: tuple[Supply, ...], hours: MeterHours, clash: str) -> str:
    """Say why the bank cannot be run on this log; empty where it can."""
    if len(supplies) > 1:
        names = ", ".join(supply.name for supply in supplies)
        return (
            f"The charge was not worked out: this house has {len(supplies)} supplies ({names}), and one log of all of "
            "them does not say which panels and loads were whose."
        )
    if clash:
        return f"The charge was not worked out: {clash}"
    if not _there(hours, "yield_w"):
        return "The charge was not worked out: the log does not have what the panels gave."
    if not (_there(hours, "load_w") or _there(hours, "load_dc_w")):
        return "The charge was not worked out: the log does not have what the house drew."
    return ""


def _there(hours: MeterHours, key: str) -> bool:
    return key in hours.values and bool(np.isfinite(hours.values[key]).any())
