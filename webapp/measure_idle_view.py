"""The idle draw of two readings in words: what to do, what it came to, how long to wait with which meter."""

from __future__ import annotations

from markupsafe import Markup

from engine.answers.measuring import Measured
from engine.answers.measuring_idle import IdleDraw, Wait
from engine.answers.measuring_readings import AIM_W
from engine.house.household import Supply
from webapp import measure_chart
from webapp.forms import Field, Parsed, Values
from webapp.measure_view import (
    Chart,
    Key,
    MeasureView,
    Table,
    Use,
    against,
    give_or_take,
    lasts_sentence,
    paper_rows,
    parts_table,
    span,
)
from webapp.render import NO_BREAK, figures, fixed
from webapp.words import duration, in_sentence, listed

METER_NAMES = {
    "percent": "Charge in % on the bank monitor",
    "ah": "Ah counted out of the bank",
    "kwh": "kWh counted out of the bank",
    "watts": "Watts shown at the bank",
    "amps": "Amps shown at the bank",
}
UNITS = {"percent": "%", "ah": "Ah", "kwh": "kWh", "watts": "W", "amps": "A"}
SHORT_H = 0.5
CHART_ROWS = (1, 2, 4, 8, 12, 16, 24, 36, 48)


def idle_view(
    answer: IdleDraw, supply: Supply, fields: tuple[Field, ...], form: Parsed[Values], missing: tuple[str, ...]
) -> MeasureView:
    """Return the view of an answer, with readings or before them.

    Parameters
    ----------
    missing : tuple of str
        What is still to be typed where something was.
    """
    result = answer.result
    return MeasureView(
        sentence=_sentence(answer),
        ranges=tuple(text for text in _ranges(answer, missing) if text),
        keys=_keys(answer),
        steps=_steps(answer, supply),
        chart=_chart(answer),
        tables=(_waits(answer),),
        parts=None if result is None else parts_table(result.parts, "W"),
        use=_use(answer),
        no_use="" if result is None or answer.to_use_w is not None else "These readings are not fit to be used.",
        paper=paper_rows(fields, form),
        cautions=("mains", "dc", "check"),
        tables_first=result is None,
    )


def _sentence(answer: IdleDraw) -> Markup:
    name = in_sentence(answer.inverter_name)
    if answer.result is not None and answer.result.value <= 0.0:
        return Markup("With nothing on, {} draws <strong>less than {}</strong>; these readings tell no more.").format(
            name, _under(answer.result)
        )
    if answer.result is not None:
        value, half = give_or_take(answer.result)
        return Markup("With nothing on, {} draws <strong>{}</strong>, give or take <strong>{}</strong>.").format(
            name, value, half
        )
    meter = _mid(METER_NAMES[answer.meter])
    if answer.wait_h is None:
        text = "By {} it cannot be told to {} W: <strong>read something finer</strong>."
        return Markup(text).format(meter, f"{AIM_W:g}")
    if answer.wait_h < SHORT_H:
        return Markup("By {} <strong>two looks at night</strong> tell what {} draws, to {} W.").format(
            meter, name, f"{AIM_W:g}"
        )
    return Markup("By {} two readings <strong>{} apart</strong> tell what {} draws, to {} W.").format(
        meter, duration(answer.wait_h), name, f"{AIM_W:g}"
    )


def _mid(name: str) -> str:
    return name if name.startswith(("Ah", "kWh")) else name[:1].lower() + name[1:]


def _ranges(answer: IdleDraw, missing: tuple[str, ...]) -> tuple[str, ...]:
    if answer.result is None:
        still = f"Still to be typed: {listed([_mid(name) for name in missing])}." if missing else ""
        night = f"A night without sun is now {duration(answer.night_h)} long."
        longer = (
            " That is longer than a night: switch the panels off too, or take a finer meter."
            if answer.wait_h is not None and answer.wait_h > answer.night_h
            else ""
        )
        return still, f"{night}{longer}"
    return (
        against(answer.result, "Inverter"),
        lasts_sentence(answer.lasts, in_sentence(answer.name)),
    )


def _keys(answer: IdleDraw) -> tuple[Key, ...]:
    result = answer.result
    if result is None or answer.readings is None:
        return ()
    per_day = answer.kwh_per_day
    value = f"under {_under(result)}" if per_day is None else give_or_take(result)[0]
    wait = "never" if answer.wait_h is None else duration(answer.wait_h)
    return (
        Key(name="Idle draw", value=value, basis=span(result)),
        *(() if per_day is None else (_day(per_day),)),
        *_costs(answer),
        Key(
            name=f"To know it to {AIM_W:g} W",
            value=wait,
            basis=f"between readings of this meter; these are {duration(answer.readings.hours)} apart",
        ),
    )


def _day(kwh: float) -> Key:
    value = f"{figures(kwh)}{NO_BREAK}kWh"
    return Key(name="In a day", value=value, basis="day and night, as long as the inverter is on")


def _under(result: Measured) -> str:
    """The upper end alone, for a result of nothing or less."""
    return f"{figures(result.high)}{NO_BREAK}{result.unit}"


def _steps(answer: IdleDraw, supply: Supply) -> tuple[str, ...]:
    bank = listed([in_sentence(bank.name) for bank in supply.banks])
    return (
        "Choose an evening when nobody needs power. Never switched off for this: a medical device, an alarm, "
        "a freezer or fridge that will not stay cold, an aquarium, a heater that keeps pipes from freezing. Leave such "
        "things on and type their watts.",
        f"See that {bank} will not run low in the night, that no generator or charger will start by itself, and that "
        "everyone has a torch: the house is dark while you measure.",
        "After sunset, when the panels give nothing, switch every load off or pull its plug, standby too. Leave "
        f"{in_sentence(answer.inverter_name)} on as it always is, its power-saving or search mode as you live with it.",
        "Pull no DC connector and open no DC switch while current flows: its arc does not go out by itself. Nothing of "
        "this needs a tool.",
        "Wait ten minutes. Write down the time and the reading, with every digit, and from where you read it.",
        f"{_wait_words(answer)} Write down the time and the reading again, in the same unit.",
        "Switch everything on again, the cold things first. Type both readings here.",
    )


def _wait_words(answer: IdleDraw) -> str:
    """When to read again, by the meter asked about."""
    if answer.wait_h is None or answer.wait_h < SHORT_H:
        return "Look again some hours later, before the sun comes up."
    told = duration(answer.wait_h)
    if answer.wait_h > answer.night_h:
        return (
            f"Read again as late as you can before the sun comes up. For ± {AIM_W:g} W this meter needs {told}, longer "
            "than a night: a finer one, or the panels switched off by their own switch, after dark."
        )
    return f"Wait {told} or longer for ± {AIM_W:g} W, but not until the sun comes up."


def _costs(answer: IdleDraw) -> tuple[Key, ...]:
    """What it costs of how long a full bank lasts; nothing where that is not told."""
    then = None if answer.lasts is None else answer.lasts.then
    if answer.without_h is None or then is None:
        return ()
    return (
        Key(
            name="It costs",
            value=duration(max(answer.without_h - then, 0.0)),
            basis=f"of {duration(answer.without_h)} that a full bank would last through dull days with none",
        ),
    )


def _chart(answer: IdleDraw) -> Chart:
    hours, error = answer.curve_h.tolist(), answer.curve_w.tolist()
    now = None if answer.readings is None else answer.readings.hours
    figure = measure_chart.falling(hours, error, AIM_W, "W", "hours between the readings", now, "yours")
    told = [(h, error[min(range(len(hours)), key=lambda n: abs(hours[n] - h))]) for h in CHART_ROWS if h <= hours[-1]]
    return Chart(
        id="waiting",
        caption="How the error falls with waiting",
        figure=figure,
        basis=f"{_mid(METER_NAMES[answer.meter])}; error on either side",
        table=Table(
            caption="",
            columns=("Hours between", "error, W"),
            rows=tuple((f"{h}", f"± {figures(w)}") for h, w in told),
        ),
    )


def _waits(answer: IdleDraw) -> Table:
    return Table(
        caption=f"How long to wait, by what you read, for ± {AIM_W:g} W",
        columns=("What you read", "in steps of", f"after {duration(answer.night_h)}", "wait"),
        rows=tuple(_wait_row(one) for one in answer.waits),
    )


def _wait_row(one: Wait) -> tuple[str, ...]:
    size = 100.0 if one.meter == "percent" else 1.0
    wait = "never" if one.wait_h is None else "two looks" if one.wait_h < SHORT_H else duration(one.wait_h)
    return (
        METER_NAMES[one.meter],
        f"{one.step * size:g}{NO_BREAK}{UNITS[one.meter]}",
        f"± {figures(one.after_night_w)}{NO_BREAK}W",
        wait,
    )


def _use(answer: IdleDraw) -> Use | None:
    watts = answer.to_use_w
    if watts is None:
        return None
    told = f"{fixed(watts, 1)}{NO_BREAK}W"
    return Use(
        section="inverters",
        item_id=answer.inverter_id,
        values={"idle_w": watts},
        label=f"Use {told} as the idle draw",
        what=f"{answer.inverter_name}: idle draw measured, {watts:g} W",
        told=f"{told} stand on Inverter as the idle draw.",
        held=abs(answer.now_w - watts) < 0.05,
    )
