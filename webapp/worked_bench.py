"""Of the bench, done on paper for “How it is worked out”: a table read at another current, a hold, a balancer, strings.

Cells are “tested” with the same engine that answers questions, so that it can be held against the truth.
"""

from __future__ import annotations

from engine.answers.answer import Worked
from engine.bench.records import TestedCell
from engine.cells import catalogue, curve
from engine.cells.chemistry import ocv_at, r_slow_at
from engine.cells.hold import taper
from engine.house.grouping import grouped, hours_to_balance

BENCH_C, BANK_C = 0.5, 0.1
SEEN_AT = (("sodium_layered", 0.5), ("lfp", 0.5), ("lfp", 0.98))
SEEN_STEP_SOC = 0.01
SHELF_AH = (100.0, 99.0, 97.0, 96.0)
BLEED_A = 0.1


def translated(key: str = "sodium_layered", volts: float = 3.6) -> tuple[Worked, ...]:
    """What a table made at 0.5C, without and with a hold, says of a charge at 0.1C without a hold."""
    cell = catalogue.load(key)
    stopped = curve.soc_without_hold(cell, volts, BENCH_C)
    held_v = curve.volts_for_soc(cell, stopped, cell.tail_c)
    ohms = (volts - held_v) / (BENCH_C - cell.tail_c)
    read_at_v = volts + (BENCH_C - BANK_C) * ohms
    return (
        Worked(
            label=f"Stopped at {volts:.2f} V",
            how=f"measured at {BENCH_C:g}C without a hold",
            value=stopped * 100,
            unit="%",
        ),
        Worked(label="The same charge, held", how="the held column reaches it at", value=held_v, unit="V"),
        Worked(
            label="Resistance",
            how=f"({volts:.3f} − {held_v:.3f}) V ÷ ({BENCH_C:g} − {cell.tail_c:g})C",
            value=ohms,
            unit="V per C",
        ),
        Worked(
            label=f"At {BANK_C:g}C",
            how=f"the table’s column is read at {volts:.2f} + ({BENCH_C:g} − {BANK_C:g}) × {ohms:.4f} V",
            value=read_at_v,
            unit="V",
        ),
        Worked(
            label="Charge there",
            how=f"by the {BENCH_C:g}C column",
            value=curve.soc_without_hold(cell, read_at_v, BENCH_C) * 100,
            unit="%",
        ),
        Worked(
            label="The cell itself",
            how=f"charged at {BANK_C:g}C to {volts:.2f} V",
            value=curve.soc_without_hold(cell, volts, BANK_C) * 100,
            unit="%",
        ),
    )


def held(key: str = "sodium_layered", volts: float = 3.6, rate: float = 0.2) -> tuple[Worked, ...]:
    """How long a hold takes from a current down to the tail, and what it adds."""
    cell = catalogue.load(key)
    hold = taper(cell, volts, rate, cell.tail_c)
    soc = float(hold.soc[-1])
    ocv_v, r_v = ocv_at(cell, soc), r_slow_at(cell, soc)
    how = f"({volts:g} − {ocv_v:.3f}) V ÷ {r_v:.3f} V per C"
    return (
        Worked(
            label="It begins at", how=f"OCV + {rate:g} × R = {volts:g} V", value=float(hold.soc[0]) * 100.0, unit="%"
        ),
        Worked(label="It ends at", how=f"the tail of {cell.tail_c:g}C", value=soc * 100.0, unit="%"),
        Worked(label="Current there", how=how, value=(volts - ocv_v) / r_v, unit="C"),
        Worked(label="It takes", how="sum of Δs ÷ (I × what is given back)", value=float(hold.hours[-1]), unit="h"),
    )


def seen(rate: float = 0.1) -> tuple[Worked, ...]:
    """What one point more in one cell shows as, near some charges."""
    found = []
    for key, soc in SEEN_AT:
        cell, (low, high) = catalogue.load(key), (soc - SEEN_STEP_SOC, soc + SEEN_STEP_SOC)
        below, above = (ocv_at(cell, s) + rate * r_slow_at(cell, s) for s in (low, high))
        how = f"({above:.4f} − {below:.4f}) V over {low * 100:g} to {high * 100:g} %"
        mv = (above - below) / (high - low) * SEEN_STEP_SOC * 1000.0
        found.append(Worked(label=f"{cell.name.split(' (')[0]} at {soc * 100:g} %", how=how, value=mv, unit="mV"))
    return tuple(found)


def dealt() -> tuple[Worked, ...]:
    """Four cells into two groups, as they stand in the list and evened."""
    cells = tuple(TestedCell(name=f"{ah:g}", ah=ah) for ah in SHELF_AH)
    answer = grouped(cells, series=2, parallel=2)
    rows = []
    for label, one in (("As they stand in the list", answer.listed), ("Evened", answer.even)):
        sums = [" + ".join(cell.name for cell in group.cells) for group in one.groups]
        rows.append(Worked(label=label, how=f"smaller of {sums[0]} and {sums[1]}", value=one.string_ah, unit="Ah"))
    apart_ah = answer.listed.imbalance_ah
    how = f"{apart_ah:g} Ah ÷ {BLEED_A:g} A, if it may work all day"
    rows.append(
        Worked(label="A balancer evens the list in", how=how, value=hours_to_balance(apart_ah, BLEED_A), unit="h")
    )
    return tuple(rows)
