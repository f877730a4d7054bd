"""From a bench table to another current, done on paper for “How it is worked out”: the catalogue's cell as the bench.

The cell is “tested” with the same engine that answers questions, so the last line can be held against the truth.
"""

from __future__ import annotations

from engine.answers.answer import Worked
from engine.cells import catalogue, curve

BENCH_C, BANK_C = 0.5, 0.1


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
