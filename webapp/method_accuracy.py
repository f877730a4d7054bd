"""How good it is: what was held against what outside this program, and how far apart they came."""

from __future__ import annotations

from dataclasses import dataclass

from webapp.render import fixed


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
