"""The days to come for each supply of a household: what every question of the moment is run on.

Times are local standard time, hours from the moment asked about; loads and sun W, charge a share of tested Ah.
Not modelled: short peaks inside an hour, loads that change with the weather.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import supplies_of
from engine.balance.bus_plant import BusPlant, BusState, bus_plant, on_the_bus
from engine.balance.bus_run import bus_run
from engine.balance.forcing import Forcing, forcing, load_hours, mean_dc_w, sun_hours
from engine.balance.planned import Plan
from engine.balance.step import Plant, State, plant
from engine.balance.trajectory import Trajectory, run
from engine.errors import InputError, Unreachable
from engine.house.bus import clash_sentence
from engine.house.charge_scales import Marks, marks
from engine.house.cold import acid_frozen
from engine.house.generator import Generator
from engine.house.household import Household, Supply
from engine.house.loads import Load
from engine.sky.days import Sky

Floats = NDArray[np.float64]

LEAST_MEAN_W = 1.0
"""Mean draw a bank's limits are read at where it carries nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coming:
    """One supply, its charge now and the days to come.

    Attributes
    ----------
    kc : (n,) array
        Clearness of each day from the midnight before `at` on.
    skies : tuple of Forcing
        The days as said, then the darker and the brighter reading of them where these differ.
    mean_w : float
        Mean power drawn from the bus by a day's loads in the month of `at` [W].
    """

    household: Household
    supply: Supply
    plant: Plant | BusPlant
    start: State | BusState
    at: datetime
    kc: Floats
    skies: tuple[Forcing, ...]
    mean_w: float

    @property
    def given(self) -> Forcing:
        """The days as said."""
        return self.skies[0]

    @property
    def start_soc(self) -> float:
        """Charge now; of all banks together where several share the bus [-]."""
        if isinstance(self.start, BusState):
            assert isinstance(self.plant, BusPlant)
            return self.plant.soc_of(self.start.socs)
        return self.start.soc

    @property
    def single(self) -> tuple[Plant, State]:
        """The one bank's plant and state.

        Raises
        ------
        Unreachable
            If several banks share the bus.
        """
        if isinstance(self.plant, BusPlant) or isinstance(self.start, BusState):
            raise Unreachable(f"This is worked out for one bank on an inverter; {self.supply.name} share one bus.")
        return self.plant, self.start

    def run(
        self, hours: Forcing | None = None, *, until_ended: bool = False, generator: Generator | Plan | None = None
    ) -> Trajectory:
        """Run the days as said, or other hours from the same moment; `until_ended` stops where load is first short."""
        given = self.given if hours is None else hours
        if isinstance(self.plant, BusPlant):
            assert isinstance(self.start, BusState)
            if generator is not None:
                raise Unreachable(
                    f"A generator beside banks that share one bus, {self.supply.name}, is not worked out."
                )
            return bus_run(self.plant, self.start, *given.lists(), first_h=given.first_h, until_ended=until_ended)
        assert isinstance(self.start, State)
        return run(
            self.plant,
            self.start,
            *given.lists(),
            first_h=given.first_h,
            until_ended=until_ended,
            generator=generator,
            from_hour=given.from_hour,
        )

    def varied(self, spread_share: float) -> list[Forcing]:
        """Every sky with lighter and with heavier loads."""
        return [_scaled(sky, factor) for sky in self.skies for factor in (1.0 - spread_share, 1.0 + spread_share)]

    def changed(self, supply: Supply) -> Coming:
        """The same days with another bank, inverter, panels or loads, as if the household said so."""
        return _coming(self.household, supply, self.start, self.at, (self.kc,))

    def without(self, load_ids: Collection[str]) -> Coming:
        """The same days with some loads switched off from now on, as if the household did not have them."""
        return self.with_loads(tuple(load for load in self.supply.loads if load.id not in load_ids))

    def with_loads(self, loads: Sequence[Load]) -> Coming:
        """The same days and sun with other loads."""
        supply = dataclasses.replace(self.supply, loads=tuple(loads))
        ac_w, dc_w = (side[self.at.hour :] for side in load_hours(self.household, supply, self.at, len(self.kc)))
        mean_w = mean_dc_w(self.household, supply, self.at.month)
        skies = tuple(dataclasses.replace(sky, ac_w=ac_w, dc_w=dc_w) for sky in self.skies)
        return dataclasses.replace(
            self, supply=supply, plant=_plant(supply, self.start, mean_w), skies=skies, mean_w=mean_w
        )

    def hours_of(self, loads: Sequence[Load]) -> tuple[Floats, Floats]:
        """What some loads take at the sockets and at the battery side in each interval of the days, (n,) each [W]."""
        alone = dataclasses.replace(self.supply, loads=tuple(loads))
        ac_w, dc_w = load_hours(self.household, alone, self.at, len(self.kc))
        return ac_w[self.at.hour :], dc_w[self.at.hour :]


def coming(
    household: Household, charges: Mapping[str, float], sky: Sky, at: datetime, *, from_tomorrow: bool = False
) -> tuple[date, tuple[Coming, ...]]:
    """Put together the days to come of each joined bank.

    Parameters
    ----------
    charges : mapping of str to float
        State of charge now by bank id, a share of tested Ah [-]; a bank left out is full.
    sky : Sky
        The days to come; they begin today, or tomorrow once today's sun is over.
    at : datetime
        The moment, local standard time.
    from_tomorrow : bool
        Whether they begin tomorrow whatever sun is left today; that sun is then not counted.

    Returns
    -------
    date, tuple of Coming
        The date of the sky's first day; one of each supply, in their order.

    Raises
    ------
    InputError
        If a charge is outside 0..1 or names no joined bank.
    Unreachable
        If no bank is joined to an inverter, or banks share a bus that must not.
    """
    supplies = supplies_of(household)
    _refuse_charges(charges, supplies)
    first = at.date() + timedelta(days=1) if from_tomorrow else first_day(household, supplies, at)
    kc, *ends = (_from_midnight(days, first, at, from_tomorrow) for days in (sky.kc, sky.low_kc, sky.high_kc))
    lit = household if first == at.date() else _covered_from_tomorrow(household)
    found = []
    for supply in supplies:
        if said := clash_sentence(supply.banks, supply.inverter):
            raise Unreachable(said)
        stepped = supply.on_standard_clock(household.site.clock_ahead_h(at))
        found.append(_coming(lit, stepped, _start(supply, charges), at, (kc, *ends)))
    return first, tuple(found)


def first_day(household: Household, supplies: Sequence[Supply], at: datetime) -> date:
    """Return the date of a sky's first day: that of `at`, or the day after once the sun on all panels is over."""
    bare = dataclasses.replace(household, sun=dataclasses.replace(household.sun, covered_days=0))
    clear = sum(float(sun_hours(bare, s, at, np.ones(1))[at.hour + 1 :].sum()) for s in supplies)
    over = bool(supplies) and clear <= 0.0 and bool(household.sun.arrays)
    return at.date() + timedelta(days=1) if over else at.date()


def soonest(found: Sequence[Coming], bank_id: str = "") -> Coming:
    """The supply asked about; the one that runs out first where none is named."""
    named = next((one for one in found if one.supply.bank.id == bank_id), None)
    if named is not None:
        return named
    ended = [np.inf if (h := one.run(until_ended=True).ended_h) is None else h for one in found]
    return found[ended.index(min(ended))]


def marks_of(household: Household, supply: Supply, month: int) -> dict[str, Marks]:
    """Return where the scales of each bank of a supply begin and end, by bank id.

    Every bank gives its share by size of the mean power drawn in that month with the loads of `supply`.
    """
    mean_w = max(mean_dc_w(household, supply, month), LEAST_MEAN_W)
    sizes = [bank.series * bank.ah * bank.cell.v_nominal for bank in supply.banks]
    return {
        bank.id: marks(bank, supply.inverter, mean_w * size / sum(sizes))
        for bank, size in zip(supply.banks, sizes, strict=True)
    }


def _start(supply: Supply, charges: Mapping[str, float]) -> State | BusState:
    """The charge now; a bank left out is full."""
    if not supply.beside:
        soc = charges.get(supply.bank.id)
        return State(supply.bank.top_reached_soc if soc is None else soc)
    same = on_the_bus(supply.banks)
    return BusState(tuple(charges.get(bank.id, bank.top_reached_soc) for bank in same))


def _plant(supply: Supply, start: State | BusState, mean_w: float) -> Plant | BusPlant:
    """The limits of a supply's banks; frozen acid takes no charge, and so stays frozen while it is as cold."""
    drawn_w = max(mean_w, LEAST_MEAN_W)
    socs = start.socs if isinstance(start, BusState) else (start.soc,)
    frozen = any(acid_frozen(bank, soc) for bank, soc in zip(supply.banks, socs, strict=True))
    if not supply.beside:
        p = plant(supply.bank, supply.inverter, drawn_w)
        return dataclasses.replace(p, charge_c_max=0.0) if frozen else p
    bus = bus_plant(supply.banks, supply.inverter, drawn_w)
    if not frozen:
        return bus
    return dataclasses.replace(bus, plants=tuple(dataclasses.replace(p, charge_c_max=0.0) for p in bus.plants))


def _coming(
    household: Household, supply: Supply, start: State | BusState, at: datetime, kc: Sequence[Floats]
) -> Coming:
    mean_w = mean_dc_w(household, supply, at.month)
    different = [days for place, days in enumerate(kc) if not any(np.array_equal(days, seen) for seen in kc[:place])]
    return Coming(
        household=household,
        supply=supply,
        plant=_plant(supply, start, mean_w),
        start=start,
        at=at,
        kc=kc[0],
        skies=tuple(forcing(household, supply, at, days) for days in different),
        mean_w=mean_w,
    )


def _refuse_charges(charges: Mapping[str, float], supplies: tuple[Supply, ...]) -> None:
    known = [bank.id for supply in supplies for bank in supply.banks]
    for bank_id, soc in charges.items():
        if bank_id not in known:
            raise InputError("charge", f"No joined bank is called “{bank_id}”; there is: {', '.join(known)}.")
        if not 0.0 <= soc <= 1.0:
            raise InputError("charge", f"Charge now must be from 0 to 100 %; got {soc * 100:g} %.")


def _from_midnight(kc: Floats, first: date, at: datetime, dark_today: bool) -> Floats:
    """The kc of a sky whose first day is `first`, from the midnight before `at` on."""
    if first == at.date():
        return kc
    return np.concatenate([np.zeros(1) if dark_today else kc[:1], kc])


def _covered_from_tomorrow(household: Household) -> Household:
    """The household with its snow lying on from tonight, so that its covered days begin tomorrow."""
    sun = household.sun
    if not sun.covered_days:
        return household
    return dataclasses.replace(household, sun=dataclasses.replace(sun, covered_days=min(sun.covered_days + 1, 60)))


def _scaled(hours: Forcing, factor: float) -> Forcing:
    return dataclasses.replace(hours, ac_w=hours.ac_w * factor, dc_w=hours.dc_w * factor)
