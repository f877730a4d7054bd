"""The hours left in sentences: how long, until when, what ends it, the range and whose days these are.

Times are on the household's clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from markupsafe import Markup

from engine.answers.autonomy import Autonomy, BankAutonomy, BankCharge
from engine.answers.fan import Fan
from engine.house.household import Supply
from engine.house.loads import daily_kwh
from engine.sky.days import SEASON, Sky
from engine.sky.site import Site
from webapp.questions import to_standard
from webapp.render import NO_BREAK, fixed, percent
from webapp.words import between, duration, in_sentence, listed, long_date, number, stamp, until

FULL_WITHIN = 0.005
"""A charge this close below where charging ends is called full."""
NOTHING_H = 0.02
APART_SHARE = 0.03
"""Banks on one bus whose rested volts are this share of their nominal volts apart cannot be what was typed (judgement:
1.4 V of 48, far more than their resistances leave at rest)."""
OVER_BUS_SOC = 0.005
"""A typed charge this far above what the bus fills a bank to is pointed out (choice)."""


def after(at: datetime, hours: float | None) -> datetime | None:
    """Return the clock time, naive, some hours after an aware moment."""
    if hours is None:
        return None
    moment = at.astimezone(UTC) + timedelta(seconds=round(hours * 3600.0))
    return moment.astimezone(at.tzinfo).replace(tzinfo=None)


def days_ahead(answer: Autonomy, site: Site) -> int:
    """Return how many days the answer touches, today among them."""
    start = to_standard(site, answer.at)
    last = start + timedelta(hours=answer.horizon_h, seconds=-1)
    return (last.date() - start.date()).days + 1


def never_off_sentence(bank: BankAutonomy, supply: Supply, site: Site, month: int) -> str:
    """Say which loads marked never off are without power after the end; empty where there is no end or none."""
    names = [load.name for load in supply.loads if load.never_off and daily_kwh(load, month, site.south)]
    if bank.hours is None or not names:
        return ""
    loads, verb = ("loads", "are") if len(names) > 1 else ("load", "is")
    return f"After that the {loads} you marked never off, {listed(names)}, {verb} without power too."


def sentence(bank: BankAutonomy, supply: Supply, answer: Autonomy, site: Site) -> Markup:
    """Say how long the bank lasts, until when, and what ends it."""
    full = all(
        one.low_soc >= of.top_reached_soc - FULL_WITHIN for one, of in zip(bank.charges, supply.banks, strict=True)
    )
    start = " from full" if full else ""
    if bank.hours is None:
        last = after(answer.at, answer.horizon_h)
        assert last is not None
        return Markup(
            "It <strong>lasts beyond these {} days</strong>{}: {} does not run out before <strong>{}</strong>."
        ).format(number(days_ahead(answer, site)), start, in_sentence(bank.name), long_date(last.date()))
    if bank.hours < NOTHING_H:
        return Markup("<strong>Nothing is left to use now</strong>: {}.").format(
            _why(bank, supply, answer.at, standing=True)
        )
    moment = after(answer.at, bank.hours)
    assert moment is not None
    return Markup('About <strong>{}</strong>{}: until <strong><time datetime="{}">{}</time></strong>, when {}.').format(
        duration(bank.hours),
        start,
        moment.isoformat(timespec="minutes"),
        until(moment, answer.at.replace(tzinfo=None), bank.hours),
        _why(bank, supply, answer.at),
    )


def _why(bank: BankAutonomy, supply: Supply, at: datetime, standing: bool = False) -> str:
    """What ends it, as a clause; `standing` where it is so already."""
    name, inverter = in_sentence(bank.name), in_sentence(supply.inverter.name)
    peak = _peak(bank, at)
    if bank.ended_by == "reserve":
        return f"{name} {'stands at or under' if standing else 'reaches'} your {_reserve(supply)} reserve"
    if bank.ended_by == "inverter":
        return f"{inverter} cuts {name} off at {supply.inverter.dc_min_v:g}{NO_BREAK}V under {peak or 'load'}"
    if bank.ended_by == "board":
        low_v = supply.bank.board.cell_low_v if supply.bank.board else 0.0
        under = f" under {peak}" if peak else ""
        return f"the protection board of {name} opens at {low_v:g}{NO_BREAK}V per cell{under}"
    if bank.ended_by == "current":
        return f"{name} may not give the current that is asked of it{f' by {peak}' if peak else ''}"
    if bank.ended_by == "cold":
        return f"at {bank.cell_c:g}{NO_BREAK}°C {name} may give nothing at all"
    return f"{name} has no more within reach at {bank.cell_c:g}{NO_BREAK}°C and this draw"


def _peak(bank: BankAutonomy, at: datetime) -> str:
    """The high hour that ends a bank before a mean one would; empty where it is not that."""
    moment = after(at, bank.hours)
    if bank.end is None or moment is None or not bank.end.by_peak:
        return ""
    return f"the high draw from {moment:%H}:00, {_power(bank.end.drawn_w)}, with {percent(bank.end.soc)} left in it"


def _power(watts: float) -> str:
    return f"{fixed(watts / 1000.0, 1)}{NO_BREAK}kW" if watts >= 1000.0 else f"{fixed(watts)}{NO_BREAK}W"


ENDS = {
    "": "nothing",
    "inverter": "cut-off",
    "board": "board",
    "cold or rate": "cold, draw",
    "current": "current limit",
}


def what_ends(bank: BankAutonomy) -> str:
    """Name what ends a bank in two words."""
    name = ENDS.get(bank.ended_by, bank.ended_by)
    return f"{name} at a peak" if bank.end is not None and bank.end.by_peak else name


def weakest_sentence(answer: Autonomy) -> str:
    """Say which of several banks ends first, and how long the others go on; empty where there is one, or none ends."""
    first, *others = sorted(answer.banks, key=lambda bank: float("inf") if bank.hours is None else bank.hours)
    if not others or first.hours is None:
        return ""
    told = [f"{in_sentence(bank.name)} {_lasts(bank, answer)}" for bank in others]
    name = in_sentence(first.name)
    return f"{name[:1].upper()}{name[1:]} is the weakest: it ends first. {_capital(listed(told))}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _lasts(bank: BankAutonomy, answer: Autonomy) -> str:
    moment = after(answer.at, bank.hours)
    if bank.hours is None or moment is None:
        return "lasts past these days"
    return f"lasts until {until(moment, answer.at.replace(tzinfo=None), bank.hours)}"


def scales_sentence(charge: BankCharge, named: bool) -> str:
    """Say one charge on every scale, each with whose it is.

    Parameters
    ----------
    named : bool
        Whether there are several banks, so that this one is named.
    """
    scales = charge.scales
    parts = []
    if scales.usable is not None:
        parts.append(f"{percent(scales.usable)} of what is usable")
    if scales.inverter is not None:
        parts.append(
            f"about {percent(scales.inverter)} on an inverter that counts from its cut-off to the end of charge"
        )
    parts.append(f"{fixed(scales.ah_out)}{NO_BREAK}Ah out since 100{NO_BREAK}%")
    parts.append(f"{fixed(scales.rested_v, 1)}{NO_BREAK}V at rest")
    whose = f"{charge.name}: " if named else ""
    monitor = fixed(scales.monitor * 100.0, 1).removesuffix(".0")
    return f"{whose}{monitor}{NO_BREAK}% on the bank monitor is {listed(parts)}."


def over_bus_sentence(charge: BankCharge, top_soc: float) -> str:
    """Say that a typed charge is above what the bus fills its bank to."""
    typed, most = (f"{fixed(soc * 100.0, 1).removesuffix('.0')}{NO_BREAK}%" for soc in (charge.soc, top_soc))
    return (
        f"{charge.name}: you typed {typed} of tested Ah; the volts of this bus fill it to {most} at most. Is it "
        "joined, and its charge read right?"
    )


def apart_sentence(charges: Sequence[BankCharge], supply: Supply) -> str:
    """Say that banks of one bus would rest at volts too far apart to be joined; empty where they do not."""
    low, high = (pick(charges, key=lambda one: one.scales.rested_v) for pick in (min, max))
    apart_v = high.scales.rested_v - low.scales.rested_v
    if apart_v <= APART_SHARE * supply.bank.cell.v_nominal * supply.bank.series:
        return ""
    return (
        f"{low.name} at {fixed(low.scales.rested_v, 1)}{NO_BREAK}V and {high.name} at "
        f"{fixed(high.scales.rested_v, 1)}{NO_BREAK}V at rest cannot stand on one bus: if they are joined, one of the "
        "charges typed is wrong; if they are not, they must not be joined now, for a hard current would flow between "
        "them. Bring them to nearly equal volts first."
    )


def flat_sentence(charge: BankCharge) -> str:
    """Say that rested volts leave a charge open."""
    return (
        f"{charge.name}: at these rested volts it may hold anything from {percent(charge.low_soc)} to "
        f"{percent(charge.high_soc)}: this cell’s volts are flat there and cannot tell. The answer takes the middle, "
        f"{percent(charge.soc)}; its range covers the whole span. A % or the Ah of a bank monitor tell more."
    )


def fan_rows(bank: BankAutonomy, answer: Autonomy) -> tuple[tuple[str, str, str], ...]:
    """Name, duration and clock time of the low, likely and high hours; none where nothing is left or nothing ends."""
    if (bank.low_hours is None and bank.hours is None) or (bank.hours is not None and bank.hours < NOTHING_H):
        return ()
    rows = (("Low", bank.low_hours), ("Likely", bank.hours), ("High", bank.high_hours))
    return tuple((name, *_row(hours, answer.at)) for name, hours in rows)


def _row(hours: float | None, at: datetime) -> tuple[str, str]:
    moment = after(at, hours)
    return ("past these days", "") if hours is None or moment is None else (duration(hours), stamp(moment))


def _reserve(supply: Supply) -> str:
    bank = supply.bank
    if bank.reserve_v is not None:
        return f"{bank.reserve_v:g}{NO_BREAK}V per cell"
    return f"{bank.reserve_soc * 100:g}{NO_BREAK}%"


def floor_name(bank: BankAutonomy, supply: Supply) -> str:
    """Name what may not be used of a bank."""
    if supply.bank.reserve_v is None and bank.reserve_soc > supply.bank.reserve_soc + 1e-6:
        return f"out of reach below {percent(bank.reserve_soc)}"
    return f"reserve {percent(bank.reserve_soc)}"


def ends_basis(bank: BankAutonomy, at: datetime) -> str:
    """Say when a bank ends and how far its volts are from the cut-off then."""
    moment = after(at, bank.hours)
    if moment is None:
        return "within these days"
    if bank.end is not None and bank.end.by_peak and bank.end.mean_cutoff_soc is not None:
        volts = f", {fixed(bank.end.volts_v, 1)}{NO_BREAK}V" if bank.end.volts_v is not None else ""
        return f"{stamp(moment)}{volts}; your mean draw would go on to {percent(bank.end.mean_cutoff_soc)}"
    if bank.ended_by in ("inverter", "board") or bank.margin_v is None:
        return stamp(moment)
    over = "above" if bank.margin_v >= 0.0 else "below"
    return f"{stamp(moment)}; {fixed(abs(bank.margin_v), 1)}{NO_BREAK}V {over} the cut-off"


def range_sentence(bank: BankAutonomy, answer: Autonomy, guessed: bool, sky: Sky, site: Site) -> str:
    """Say the range, what it is made of, and whose days these are."""
    if bank.hours is not None and bank.hours < NOTHING_H:
        return f"What the sun brings after that is in the chart. {_whose_days(answer, guessed)}"
    said_in_words = any(sky.labels) if bank.fan is not None else bool((sky.low_kc < sky.high_kc).any())
    light = " and each day as dark or as bright as its word allows" if said_in_words else ""
    years = "" if bank.fan is None else f", {_years(bank.fan, answer)}"
    return (
        f"{_range(bank, answer, site)}, with your loads a tenth more or less{light}{years}. "
        f"{_whose_days(answer, guessed)}"
    )


def _years(fan: Fan, answer: Autonomy) -> str:
    """Which years stand behind the days that nobody said."""
    others = "" if answer.sky_basis.endswith(SEASON) else "the other days "
    span = "from the dullest tenth to the brightest tenth of" if fan.tenths else "as in any of the only"
    return f"{others}{span} {fan.title}"


def _range(bank: BankAutonomy, answer: Autonomy, site: Site) -> str:
    beyond = f"beyond these {number(days_ahead(answer, site))} days"
    if bank.low_hours is None:
        return f"It lasts {beyond} at either end"
    if bank.high_hours is None:
        return f"From {duration(bank.low_hours)} to {beyond}"
    text = between(bank.low_hours, bank.high_hours)
    return text[0].upper() + text[1:]


def _whose_days(answer: Autonomy, guessed: bool) -> str:
    if answer.sky_basis == "made season":
        return "Nobody has said these days: they are made from monthly means, not a forecast. Set them as you see them."
    if answer.sky_basis == "measured season":
        return "Nobody has said these days: they are your sun record’s, not a forecast. Set them as you see them."
    if answer.sky_basis == "none":
        return "No sun at all is assumed."
    title = answer.sky_title.partition(", then as in the middle one of ")[0]
    if answer.sky_basis == "measured elsewhere":
        return f"The days are records from elsewhere, not a forecast: {title}."
    if answer.sky_basis == "made":
        return f"The days are made for your place, not measured and not a forecast: {title}."
    if answer.sky_basis == "own file":
        return f"The days are out of your own file, not a forecast: {title}."
    if guessed:
        return "The days are our guess, not a forecast: set them as you see them."
    return f"The days are yours, not a forecast: {title}."
