"""What is said of an idle draw that was measured: notices, the sum that can be followed, and what was assumed."""

from __future__ import annotations

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.measuring import Measured, plain
from engine.answers.measuring_readings import USUAL_ACCURACY_SHARE, USUAL_STEP, USUAL_ZERO_A, Readings
from engine.house.bank import Bank
from engine.house.inverter import Inverter

MUCH_SHARE = 0.02
"""Idle draw over rated power above which something else was probably on: three times the usual 0.63 % (judgement)."""
MOST_SHARE = 0.1
"""Idle draw over rated power above which it is none, and is not offered to be used (judgement)."""
SPOKEN_H = 0.1
"""Sun for less than that between the readings is not spoken of: the model’s own horizon (judgement)."""


def believed(result: Measured, rated_w: float) -> bool:
    """Whether a result tells an idle draw: something for certain, and not as much as a load."""
    return result.low > 0.0 and result.value <= MOST_SHARE * rated_w


def idle_notices(
    inverter: Inverter, result: Measured | None, up_h: float, dark: bool, hours: float, night_h: float
) -> tuple[Notice, ...]:
    """What to mind about a measured idle draw."""
    found = []
    if up_h >= SPOKEN_H and not dark:
        found.append(
            Notice(
                level="check",
                code="idle-sun",
                text=f"The sun was up for {up_h:.1f} hours between these readings. What it put in is missing from the "
                "draw, so the idle draw reads too low, and it is not offered to be used: read after sunset and before "
                "sunrise, or switch the panels off and say so.",
            )
        )
    if result is None:
        return tuple(found)
    if result.low <= 0.0:
        left = "" if result.value > 0.0 else "Look over the watts of what was left on: they are all that was drawn. "
        found.append(
            Notice(
                level="check",
                code="idle-nothing",
                text="Nothing at all lies within the error: these readings tell only that it is less than "
                f"{plain(result.high)} W, so nothing is offered to be used. {left}"
                "Wait longer, or read what moves in finer steps.",
            )
        )
    if result.value > MOST_SHARE * inverter.rated_w:
        found.append(
            Notice(
                level="check",
                code="idle-load",
                text=f"{result.value:,.0f} W is more than a tenth of what {inverter.name} can give: that is a load and "
                "no idle draw, so it is not offered to be used. Look over the readings, their unit and what was on.",
            )
        )
    elif result.low > MUCH_SHARE * inverter.rated_w:
        found.append(
            Notice(
                level="check",
                code="idle-much",
                text=f"{plain(result.value)} W is more than {MUCH_SHARE * 100:g} % of what {inverter.name} can give, "
                "three times what is usual. Was something still on: a router, a pump, a charger left in its socket?",
            )
        )
    if dark and hours > night_h:
        found.append(
            Notice(
                level="note",
                code="idle-dark",
                text="These readings span daylight with the panels said to be off. If any of them was on, the draw "
                "reads too low.",
            )
        )
    return tuple(found)


def idle_worked(
    bank: Bank, inverter: Inverter, readings: Readings, volts_v: float, drawn_w: float, left_w: float
) -> tuple[Worked, ...]:
    """The sum, to be followed with a pocket calculator."""
    first, second, hours = readings.first, readings.second, readings.hours
    how = {
        "percent": f"({first * 100:g} − {second * 100:g}) % × {bank.ah:g} Ah × {volts_v:.4g} V ÷ {hours:.4g} h",
        "ah": f"{plain(abs(second - first), 4)} Ah × {volts_v:.4g} V ÷ {hours:.4g} h",
        "kwh": f"{plain(abs(second - first), 4)} kWh × 1,000 ÷ {hours:.4g} h",
        "watts": f"({plain(abs(first), 6)} + {plain(abs(second), 6)}) W ÷ 2",
        "amps": f"({plain(abs(first), 6)} + {plain(abs(second), 6)}) A ÷ 2 × {volts_v:.4g} V",
    }[readings.meter]
    lines = [Worked(label="Drawn from the bank", how=how, value=drawn_w, unit="W")]
    if left_w > 0.0:
        lines.append(
            Worked(
                label="Of it, left on",
                how=f"{plain(readings.left_on_w, 6)} W at the sockets through {inverter.name}, without its idle draw",
                value=left_w,
                unit="W",
            )
        )
    return (*lines, Worked(label="Idle draw", how="drawn − left on", value=drawn_w - left_w, unit="W"))


def idle_assumptions(meter: str, readings: Readings | None, bank: Bank) -> tuple[Assumption, ...]:
    """What was taken because it was not typed."""
    found = []
    size = 100.0 if meter == "percent" else 1.0
    unit = {"percent": "%", "ah": "Ah", "kwh": "kWh", "watts": "W", "amps": "A"}[meter]
    memory = "typical, from memory"
    if readings is None or readings.step is None:
        found.append(
            Assumption(
                name="Steps of the display",
                value=f"{USUAL_STEP[meter] * size:g} {unit}",
                kind=memory,
                source="look at its last digit",
            )
        )
    if readings is None or readings.accuracy_share is None:
        found.append(
            Assumption(
                name="What the meter may be off by",
                value=f"{USUAL_ACCURACY_SHARE[meter] * 100:g} %",
                kind=memory,
                source="shunts are sold as 0.5 to 1 %; a charge in % rests on the Ah set in its monitor, too",
            )
        )
    if readings is None or readings.zero_a is None:
        found.append(
            Assumption(
                name="The shunt’s zero",
                value=f"{USUAL_ZERO_A:g} A",
                kind=memory,
                source="what it shows where no current flows; of a shunt for 500 A a ten-thousandth",
            )
        )
    if meter == "percent":
        found.append(
            Assumption(
                name="Ah that 100 % on the monitor stands for",
                value=f"{bank.ah:g} Ah",
                kind="assumed",
                source="that the monitor is set to the Ah on Banks: look in its settings",
            )
        )
    if meter in ("percent", "ah", "amps") and (readings is None or readings.volts_v is None):
        found.append(
            Assumption(
                name="Mean volts of the bank",
                value="rested volts of the curve",
                kind="assumed",
                source="so small a current hardly lowers them; half full where the charge is not known",
            )
        )
    return tuple(found)
