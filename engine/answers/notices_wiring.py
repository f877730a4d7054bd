"""What is wrong or not known about the wiring of a bank: heat, fuse, fault current, voltage drop, limits of the cells.

`wiring_stops` belongs on every page; `wiring_checks` stands on Wiring. A check is never an approval.
"""

from __future__ import annotations

from collections.abc import Iterator

from engine.answers.answer import Notice
from engine.answers.wiring_parts import A_PER_KA, BankWiring, Run, wired
from engine.house.household import Household

PAGE = "wiring"
FUSE_MARGIN = 1.25
"""A fuse closer to a current of hours than this is a check (typical, from memory: some codes; yours rules)."""
ASK_HIGHEST = "not known: ask for the highest DC class"


def wiring_notices(household: Household) -> Iterator[Notice]:
    """The stops of every bank whose wiring is entered."""
    for supply in household.supplies():
        for bank in supply.banks:
            if bank.wiring is not None:
                yield from wiring_stops(wired(household, supply, bank))


def run_name(one: BankWiring, run: Run) -> str:
    """What a run is called in a sentence."""
    return f"{one.name}: the main cable" if run.place == "main" else f"{one.name}: the cable of each string"


def wiring_stops(one: BankWiring) -> Iterator[Notice]:
    """Cables too thin, fuses that do not guard them or cannot break what the cells drive into a short."""
    for run in one.runs:
        yield from _heat_and_fuse(one, run)
        yield from _fuse_ratings(one, run)


def _heat_and_fuse(one: BankWiring, run: Run) -> Iterator[Notice]:
    leg, name = run.leg, run_name(one, run)
    if leg.carries_a is not None and run.current_a > leg.carries_a:
        yield _stop(
            "wiring-cable-thin",
            f"{name} may carry {leg.carries_a:g} A as you looked it up, and up to {run.current_a:.1f} A flow through "
            "it. It gets too hot: take a thicker one, or let less flow.",
        )
    if leg.fuse_a is None:
        yield _stop(
            "wiring-no-fuse",
            f"{name} has no fuse. A short in it burns until something gives way. Fit a DC fuse at the bank’s end, "
            "sized for the cable.",
        )
    elif leg.carries_a is not None and leg.fuse_a > leg.carries_a:
        yield _stop(
            "wiring-fuse-over-cable",
            f"{name} may carry {leg.carries_a:g} A, and its fuse is one of {leg.fuse_a:g} A: the cable burns before "
            "the fuse blows. Take a smaller fuse or a thicker cable.",
        )


def _fuse_ratings(one: BankWiring, run: Run) -> Iterator[Notice]:
    leg, name = run.leg, run_name(one, run)
    if leg.fuse_a is None:
        return
    if leg.fuse_v is not None and leg.fuse_v < one.highest_v:
        yield _stop(
            "wiring-fuse-volts",
            f"{name}: its fuse breaks up to {leg.fuse_v:g} V DC, and the pack may stand at {one.highest_v:.1f} V. "
            "Above its volts a fuse goes on arcing. Take one for more DC volts.",
        )
    if leg.breaking_ka is not None and leg.breaking_ka * A_PER_KA < one.fault.known_a:
        least = "" if one.fault.bus_a is not None else "at least "
        yield _stop(
            "wiring-breaking",
            f"{name}: its fuse breaks up to {leg.breaking_ka:g} kA, and a short could drive {least}"
            f"{one.fault.known_a / A_PER_KA:.2f} kA through it. It could burst and go on arcing. Take one of a higher "
            "DC class.",
        )


def wiring_checks(one: BankWiring) -> Iterator[Notice]:
    """What is not known, what blows at full load, what drops too much, what the cells do not give or take."""
    if one.wiring is None or one.wiring.main is None:
        yield _check(
            "wiring-not-entered",
            f"{one.name}: its main cable is not entered, so nothing of it is checked. Enter its length, its size and "
            "its fuse.",
        )
    if one.parallel > 1 and one.string is None:
        yield _check(
            "wiring-strings-not-entered",
            f"{one.name}: the cables of its {one.parallel} strings are not entered. Each string needs a fuse of its "
            "own, or a fault in one is fed by all the others.",
        )
    for run in one.runs:
        yield from _run_checks(one, run)
    if one.total_drop_v is not None and one.total_share is not None and one.total_share > one.wanted_share:
        yield _check(
            "wiring-drop",
            f"{one.name}: its cables drop {one.total_drop_v:.2f} V at the highest current in discharge, "
            f"{one.discharge_a:.1f} A, "
            f"{one.total_share * 100:.1f} % of {one.lowest_v:.4g} V; at most {one.wanted_share * 100:g} % is wanted. "
            "The inverter would cut off early. The table has the sizes that keep it.",
        )
    yield from _of_cells(one)


def _advised(one: BankWiring, run: Run) -> Iterator[Notice]:
    """What carries the highest current now and would not once the cut-off is set as low as it is said to be."""
    if one.advised_a is None or one.advised_v is None:
        return
    most_a = run.current_a * one.advised_a / one.ruling_a
    limits = [("its cable may carry", run.leg.carries_a), ("its fuse is for", run.leg.fuse_a)]
    for what, limit_a in limits:
        if limit_a is not None and run.current_a <= limit_a < most_a:
            yield _check(
                "wiring-lower-cutoff",
                f"{run_name(one, run)}: with the cut-off at the {one.advised_v:.1f} V that is to be set, up to "
                f"{most_a:.1f} A flow; {what} {limit_a:g} A. Change that first, or leave the cut-off as it is.",
            )


def _run_checks(one: BankWiring, run: Run) -> Iterator[Notice]:
    leg, name = run.leg, run_name(one, run)
    if leg.carries_a is None:
        yield _check(
            "wiring-carries-unknown",
            f"{name}: what it may carry is not known. Look it up in your code’s table, for how it is laid; thick "
            "enough for the voltage drop may still be too thin for the heat.",
        )
    yield from _advised(one, run)
    if leg.fuse_a is None:
        return
    if leg.fuse_a < run.current_a:
        yield _check(
            "wiring-fuse-blows",
            f"{name}: its fuse of {leg.fuse_a:g} A is below {_highest(one, run)}: it blows {_when(run)}. Never "
            "take a bigger fuse without a cable that carries it.",
        )
    elif leg.fuse_a < FUSE_MARGIN * run.current_a:
        yield _check(
            "wiring-fuse-close",
            f"{name}: its fuse of {leg.fuse_a:g} A is less than a quarter above {_highest(one, run)}: "
            "hours of it may age the fuse until it blows. Some codes ask for a quarter "
            "(typical, from memory), yours rules. Never take a bigger fuse without a cable that carries it.",
        )
    if leg.fuse_v is None:
        yield _check(
            "wiring-fuse-volts-unknown",
            f"{name}: the DC volts of its fuse are not known; it needs at least {one.highest_v:.1f} V DC. A figure for "
            "AC does not count.",
        )
    if leg.breaking_ka is None or one.fault.bus_a is None:
        missing = [
            *(["what its fuse can break"] if leg.breaking_ka is None else []),
            *(["the short-circuit current of every bank on the bus"] if one.fault.bus_a is None else []),
        ]
        yield _check("wiring-breaking-unknown", f"{name}: {' and '.join(missing)} is {ASK_HIGHEST}.")


def _highest(one: BankWiring, run: Run) -> str:
    """The highest current of a run, named by what draws or gives it."""
    whose = "in discharge" if run.drop_a >= run.current_a else "in charge"
    rough = "" if whose == "in discharge" or one.charge_a is not None else ", by what the panels are rated"
    return f"the highest current, {run.current_a:.1f} A {whose}{rough}"


def _when(run: Run) -> str:
    """When a fuse below the highest current of its run blows."""
    if run.leg.fuse_a is not None and run.leg.fuse_a < run.drop_a:
        return "at full load"
    return "when its chargers give all they can; let them give less"


def _of_cells(one: BankWiring) -> Iterator[Notice]:
    unknown = [charger for charger in one.chargers if charger.most_a is None]
    for charger in unknown:
        yield _check(
            "wiring-charge-unknown",
            f"{charger.name}: its highest charging current is not entered. {charger.how[:1].upper()}{charger.how[1:]} "
            f"would be {charger.rough_a:.0f} A, which is counted here; its data sheet rules. Enter it on Inverter.",
        )
    if one.discharge_a > one.cells_a:
        yield _check(
            "wiring-over-cells",
            f"{one.name}: at full power {one.inverter} draws up to {one.discharge_a:.1f} A; its cells give at most "
            f"{one.cells_a:.4g} A. The maker’s sheet rules.",
        )
    yield from _of_a_strings_board(one)
    if unknown and one.charge_rough_a > one.take_a:
        yield _check(
            "wiring-charge-over-bank",
            f"{one.name} takes at most {one.take_a:.4g} A, and its chargers could give about {one.charge_rough_a:.0f} "
            f"A, by what the panels are rated over {one.lowest_v:.4g} V, the lowest. Set them so that together they "
            "give no more.",
        )


def _of_a_strings_board(one: BankWiring) -> Iterator[Notice]:
    """A board of each string that would open once another string is gone, where the bank is to ride on without it."""
    if one.board_a is None or one.parallel == 1 or max(one.discharge_a, one.charge_rough_a) > one.board_a:
        return
    left, each_a = one.parallel - 1, one.board_a / one.parallel
    discharge_a = one.discharge_a / left
    most_a = max(discharge_a, one.charge_rough_a / left)
    if most_a <= each_a:
        return
    others = "the other" if left == 1 else "each of the others"
    ends = "the bank would go dark" if discharge_a > each_a else "nothing more would be charged"
    yield _check(
        "wiring-string-board",
        f"{one.name}: if one of its {one.parallel} strings drops out, {others} carries up to "
        f"{most_a:.1f} A. Where each string has a board of its own, of {each_a:.4g} A "
        f"({one.board_a:g} A ÷ {one.parallel}), that board would open as well and {ends}: keep the power below it "
        "until the string is mended, or fit larger boards. One board for the whole bank stays closed.",
    )


def questions(one: BankWiring) -> tuple[str, ...]:
    """What to ask the electrician or the maker, from what is not known."""
    legs = [run.leg for run in one.runs]
    need_v = f"{one.highest_v:.1f} V DC"
    main = one.wiring.main if one.wiring is not None else None
    asked = (
        (main is None, f"Which cable carries {one.ruling_a:.1f} A the way ours will be laid, by the local code?"),
        (any(leg.carries_a is None for leg in legs), "How much may the cable we have carry, laid as it is?"),
        (
            not legs or any(leg.fuse_a is None for leg in legs),
            f"Which DC fuse guards that cable, for {need_v}, and how close to the terminal must it sit?",
        ),
        (any(leg.fuse_a is not None and leg.fuse_v is None for leg in legs), f"Is our fuse made for {need_v}?"),
        (
            one.fault.bus_a is None,
            "What can the bank drive into a short? Ask the maker for the 1 kHz milliohms of a cell, or the "
            "short-circuit current.",
        ),
        (
            any(leg.fuse_a is not None and leg.breaking_ka is None for leg in legs),
            f"How many kA does our fuse break with DC at {one.highest_v:.1f} V?",
        ),
        (one.parallel > 1 and one.string is None, "Which fuse and cable does each string need?"),
        (one.charge_a is None, "What is the highest current all chargers together can give?"),
        (True, f"Does {one.inverter} need a pre-charge before it is joined, and of how many ohms?"),
    )
    return tuple(text for is_so, text in asked if is_so)


def _stop(code: str, text: str) -> Notice:
    return Notice(level="stop", code=code, page=PAGE, text=text)


def _check(code: str, text: str) -> Notice:
    return Notice(level="check", code=code, page=PAGE, text=text)
