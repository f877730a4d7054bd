"""What may hurt on a bench, said with every plan: a plan is no permission, the cell maker's sheet rules.

Volts per cell, amperes, hours, degC. Limits are the catalogue's. Not modelled: the cell's condition, the room.
"""

from __future__ import annotations

from engine.answers.bench_steps import Bench
from engine.text.finding import Finding

ATTENDED_H = 8.0
"""A plan longer than this is longer than a day's attention [h] (engineering choice)."""


def cautions(bench: Bench, hours: float) -> tuple[Finding, ...]:
    """What may hurt: the first four always said, whatever the plan."""
    cell = bench.cell
    cold = (
        f"Never charge this cell below {max(cell.charge_min_c, 0.0):g} °C, nor above {cell.charge_max_c:g} °C; bring "
        "it to room temperature first."
    )
    limits = (
        f"The maker’s sheet rules: let the tester stop at {cell.v_full:g} V and {cell.v_low:g} V only if the sheet "
        "allows both, and set its own over- and under-voltage stop too."
    )
    attend = (
        "Stay within reach while current flows; a surface that cannot burn, nothing that burns near it, and stop if a "
        "cell gets more than warm, swells or smells."
    )
    fuse = (
        f"A fuse next to the cell, above {max(bench.charge_a, bench.discharge_a):g} A and below what the leads carry; "
        "sense leads on the cell itself, or the leads’ drop is read as the cell’s."
    )
    found = [("stop", "cold", cold), ("stop", "limits", limits), ("check", "attend", attend), ("check", "fuse", fuse)]
    found += _too_fast("Charge", bench.charge_a, cell.charge_c_max, bench.full_ah)
    found += _too_fast("Discharge", bench.discharge_a, cell.discharge_c_max, bench.full_ah)
    if cell.vents_hydrogen:
        found.append(("stop", "gas", "Charging gives off hydrogen: air the room, no flame and no spark."))
    if hours > ATTENDED_H:
        text = f"{hours:.0f} hours are more than a day’s attention; part it after a rest, never during a charge."
        found.append(("note", "long", text))
    return tuple(Finding(level=level, code=code, text=text) for level, code, text in found)


def _too_fast(what: str, amps: float, most_c: float, ah: float) -> list[tuple[str, str, str]]:
    """A word on a current above the catalogue's limit."""
    if amps <= most_c * ah * (1 + 1e-9):
        return []
    text = (
        f"{what} current of {amps:g} A is above {most_c * ah:.4g} A ({most_c:g}C), the catalogue’s cautious limit for "
        "this kind of cell. Look in the maker’s sheet before you use it."
    )
    return [("check", f"{what.lower()}_current", text)]
