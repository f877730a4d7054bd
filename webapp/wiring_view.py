"""The wiring of each bank in words and tables, for the page and for paper."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup

from engine.answers.answer import Notice
from engine.answers.wiring import BankAnswer, WiringAnswer
from engine.answers.wiring_parts import A_PER_KA, BankWiring, Run, Size
from engine.house.wiring import awg_name
from webapp.facts import lines, tidy
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.units import Scale, chosen, scale_of
from webapp.words import counted, in_sentence

UNKNOWN = "not known"
RUNS = {"main": "Main cable", "string": "Each string"}
OPEN = ("-unknown", "-not-entered")
"""Ends of the codes of what is not known yet."""
FINE_KA = 10.0
"""Below this a short-circuit current is written to a hundredth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One figure: what it is, its value with its unit, and what it rests on."""

    title: str
    value: str
    unit: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeTable:
    """What usual sizes of one system drop: rows of size, volts, %, watts, kept and longest run."""

    caption: str
    unit: str
    rows: tuple[tuple[str, str, str, str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BankView:
    """One bank on the page."""

    id: str
    name: str
    sentence: Markup
    verdict: str
    figures: tuple[Shown, ...]
    runs: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    least: str
    with_length: bool
    sizes: tuple[SizeTable, ...]
    questions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WiringView:
    """The answer as page and paper show it."""

    banks: tuple[BankView, ...]
    stops: tuple[Notice, ...]
    minded: tuple[Notice, ...]
    worked: tuple[tuple[str, list[tuple[str, str, str]]], ...]


def wiring_view(answer: WiringAnswer) -> WiringView:
    """Return an answer in words and tables."""
    return WiringView(
        banks=tuple(_bank(one, _stopped_elsewhere(answer)) for one in answer.banks),
        stops=tuple(one for one in answer.notices if one.level == "stop"),
        minded=tuple(one for one in answer.notices if one.level != "stop"),
        worked=tuple((one.wiring.name if len(answer.banks) > 1 else "", lines(one.worked)) for one in answer.banks),
    )


def _stopped_elsewhere(answer: WiringAnswer) -> bool:
    """Whether something beside the cables and fuses that are entered is a stop: a board, volts, a shared bus."""
    own = {code for bank in answer.banks for code in bank.stops}
    return any(notice.level == "stop" and notice.code not in own for notice in answer.notices)


def _bank(found: BankAnswer, stopped: bool) -> BankView:
    one = found.wiring
    sizes = tuple(_table(one, system) for system in _systems())
    return BankView(
        id=one.bank_id,
        name=one.name,
        sentence=Markup("The cables and the fuse of {} must carry <strong>{}</strong>.").format(
            in_sentence(one.name), _amps(one.ruling_a)
        ),
        verdict=_verdict(found, stopped),
        figures=tuple(_figures(one)),
        runs=tuple((RUNS[run.place], _run(run)) for run in one.runs),
        least=_least(one),
        with_length=one.main is not None,
        sizes=sizes,
        questions=found.questions,
    )


def _verdict(found: BankAnswer, stopped: bool) -> str:
    one = found.wiring
    why = f"So much {one.inverter} draws at full power"
    if one.ruled_by == "charge":
        rated = "" if one.charge_a is not None else ", by what the panels are rated,"
        why = f"So much its chargers together{rated} can give"
    lead = f"{why} when the bank is down to {fixed(one.lowest_v, 1)}{NO_BREAK}V."
    if one.advised_v is not None and one.advised_a is not None:
        lead += (
            f" With the low cut-off of {fixed(one.advised_v, 1)}{NO_BREAK}V that Commissioning says to set it is "
            f"{_amps(one.advised_a)}: size them for that, or leave the cut-off as it is."
        )
    if one.shared:
        lead += " The other banks on the bus may be off, so it must be able to carry all of it."
    if one.wiring is None or one.wiring.main is None:
        form = Markup('<a href="/wiring#wiring-{}">Enter the cable and its fuse</a>').format(one.bank_id)
        return Markup("{} {}, and they are checked against it.").format(lead, form)
    if found.stops:
        return f"{lead} What is entered does not suit it: see its {counted(len(found.stops), 'stop')} above."
    if stopped:
        return f"{lead} Its cables and fuses have no stop, but the house has: see above, and mend that first."
    if any(code.endswith(OPEN) for code in found.checks):
        return f"{lead} What is entered has no stop, but not all of it is known: see what to mind below."
    if found.checks:
        return f"{lead} What is entered has no stop, but does not suit it in all: see what to mind below."
    return f"{lead} Nothing entered is found to be against it. That is a check, no approval."


def _figures(one: BankWiring) -> list[Shown]:
    whose = f"the cut-off of {one.inverter}" if one.lowest_by == "inverter" else "where its board opens"
    beside = f"; {fixed(one.beside_w)} W of it beside the inverter" if one.beside_w > 0.0 else ""
    found = [
        Shown(
            title="Highest current in discharge",
            value=fixed(one.discharge_a, 1),
            unit="A",
            basis=f"{fixed(one.drawn_w)} W over {fixed(one.lowest_v, 1)} V, {whose}{beside}",
        ),
        _charge(one),
    ]
    if one.parallel > 1:
        alone = "" if one.parallel == 2 else f", {_amps(one.ruling_a)} if it is left alone"
        found.append(
            Shown(
                title="One string",
                value=fixed(one.one_out_a, 1),
                unit="A",
                basis=f"if one of {one.parallel} drops out; {_amps(one.even_a)} if they share evenly{alone}",
            )
        )
    return [*found, _drop(one), *_short(one)]


def _charge(one: BankWiring) -> Shown:
    title = "Highest current in charge"
    names = " and ".join(charger.name[:1].lower() + charger.name[1:] for charger in one.chargers)
    if not one.chargers:
        return Shown(title=title, value="0", unit="A", basis="neither panels nor a generator charge it")
    if one.charge_a is None:
        counted_a = _amps(one.charge_rough_a)
        basis = (
            f"{counted_a} counted, by what the panels are rated over {fixed(one.lowest_v, 1)}{NO_BREAK}V, the lowest"
        )
        return Shown(title=title, value=UNKNOWN, unit="", basis=basis)
    return Shown(title=title, value=fixed(one.charge_a, 1), unit="A", basis=f"from the {names}, all at once")


def _drop(one: BankWiring) -> Shown:
    if one.total_drop_v is None or one.total_share is None:
        basis = f"no main cable is entered; {_share(one.wanted_share)} is wanted at most"
        return Shown(title="Voltage drop", value=UNKNOWN, unit="", basis=basis)
    strings = " and of a string" if one.string is not None else ""
    return Shown(
        title="Voltage drop",
        value=figures(one.total_drop_v, 2),
        unit="V",
        basis=f"{percent(one.total_share, 1)} of {fixed(one.lowest_v, 1)} V in the main cable{strings}, at "
        f"{_amps(one.discharge_a)} in discharge; {_share(one.wanted_share)} is wanted at most",
    )


def _short(one: BankWiring) -> list[Shown]:
    fault = one.fault
    if fault.bus_a is not None:
        strings = f", {counted(one.parallel, 'string')}" if one.parallel > 1 else ""
        whose = "of all banks on the bus together" if one.shared else f"each string {fault.how}{strings}"
        short = Shown(title="In a short", value=_ka(fault.bus_a), unit="kA", basis=whose)
    elif fault.known_a > 0.0:
        basis = "of the banks on the bus whose short-circuit current is known"
        short = Shown(title="In a short", value=f"over {_ka(fault.known_a)}", unit="kA", basis=basis)
    else:
        basis = "ask for the highest DC class, and the maker for the 1 kHz milliohms of a cell"
        short = Shown(title="In a short", value=UNKNOWN, unit="", basis=basis)
    volts = Shown(
        title="Highest pack volts",
        value=fixed(one.highest_v, 1),
        unit="V",
        basis=f"{counted(one.series, 'cell')} at their highest: what a fuse must break with DC",
    )
    return [short, volts]


def _run(run: Run) -> tuple[tuple[str, str], ...]:
    """A cable as entered and what comes of it: labels and values."""
    leg = run.leg
    awg = f" (AWG {name})" if (name := awg_name(leg.area_mm2)) else ""
    return (
        ("Copper", f"{tidy(leg.area_mm2)} mm²{awg}"),
        ("One way", _length(leg.length_m)),
        ("Flows", _amps(run.current_a)),
        ("May carry", UNKNOWN if leg.carries_a is None else f"{tidy(leg.carries_a)} A"),
        ("Fuse", "none" if leg.fuse_a is None else f"{tidy(leg.fuse_a)} A"),
        ("Its DC volts", _or_unknown(leg.fuse_v, "V") if leg.fuse_a is not None else ""),
        ("It breaks", _or_unknown(leg.breaking_ka, "kA") if leg.fuse_a is not None else ""),
        ("Drop", f"{figures(run.drop_v, 2)} V, {percent(run.drop_share, 1)}"),
        ("Lost as heat", f"{figures(run.lost_w, 2)} W"),
    )


def _length(length_m: float) -> str:
    """A length to three figures of the unit it is read in, so that it comes back as it was typed."""
    scale = scale_of("m", chosen()) or Scale("m", 1.0)
    return f"{tidy(float(f'{scale.shown(length_m):.3g}'))} {scale.unit}"


def _or_unknown(value: float | None, unit: str) -> str:
    return UNKNOWN if value is None else f"{tidy(value)} {unit}"


def _least(one: BankWiring) -> str:
    """The thinnest sizes that keep the wanted drop, where a length is entered."""
    if one.main is None:
        return (
            f"“Usual sizes” says how long each may be, one way, for a drop of {_share(one.wanted_share)} at "
            f"{_amps(one.discharge_a)} in discharge. Heat may ask for more copper: look that up in your code’s table."
        )
    kept = [next((size for size in one.sizes if size.keeps and system in size.name), None) for system in _systems()]
    names = " or ".join(size.name for size in kept if size is not None)
    over = _length(one.main.leg.length_m)
    beside = " beside the cable of a string" if one.string is not None else ""
    if not names:
        return f"No usual size keeps {_share(one.wanted_share)} over {over}{beside}: lay the cable shorter."
    return (
        f"The thinnest that keeps {_share(one.wanted_share)} over {over}{beside}: {names}. Heat may ask for more "
        "copper: look that up in your code’s table."
    )


def _systems() -> tuple[str, ...]:
    """The kinds of sizes that are told: both, or American ones alone where these are read."""
    return ("AWG",) if chosen().wire == "awg" else ("mm²", "AWG")


def _table(one: BankWiring, system: str) -> SizeTable:
    rows = tuple(_row(size) for size in one.sizes if size.name.startswith("AWG") == (system == "AWG"))
    return SizeTable(caption="AWG sizes" if system == "AWG" else "Metric sizes", unit=system, rows=rows)


def _row(size: Size) -> tuple[str, str, str, str, str, str]:
    drop = "" if size.drop_v is None else figures(size.drop_v, 2)
    share = "" if size.drop_share is None else figures(size.drop_share * 100.0, 2)
    lost = "" if size.lost_w is None else figures(size.lost_w, 2)
    kept = "" if size.keeps is None else "yes" if size.keeps else "no"
    return (
        size.name.removeprefix("AWG ").removesuffix(" mm²"),
        drop,
        share,
        lost,
        kept,
        figures(rounded_down(size.longest_m), 2),
    )


def rounded_down(value: float, count: int = 2) -> float:
    """Round a number above 0 down to so many significant figures: a limit must not grow by being written.

    Examples
    --------
    >>> rounded_down(1.99), rounded_down(0.2399), rounded_down(187.0), rounded_down(0.0)
    (1.9, 0.23, 180.0, 0.0)
    """
    if value <= 0.0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(value)) - count + 1)
    return round(math.floor(value / step + 1e-9) * step, 12)


def _amps(amps: float) -> str:
    return f"{fixed(amps, 1)}{NO_BREAK}A"


def _ka(amps: float) -> str:
    return fixed(amps / A_PER_KA, 1 if amps / A_PER_KA >= FINE_KA else 2)


def _share(share: float) -> str:
    return f"{share * 100:g}{NO_BREAK}%"
