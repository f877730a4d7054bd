"""What is wrong, odd or dangerous in a household as described: stop, check or note, each with its remedy.

A check is never an approval: nothing found does not mean that the installation is safe.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from math import ceil

from engine.answers.answer import Notice, Remedy
from engine.answers.notices_sky import sky_notices
from engine.balance.forcing import load_hours, mean_dc_w
from engine.errors import InputError
from engine.house.bank import Bank, cutoff_cell_v, floor
from engine.house.household import Household, Supply, read, write
from engine.house.inverter import Inverter
from engine.house.loads import Load, daily_kwh, notes

EXTRA_LOW_VOLTAGE_V = 60.0
"""Above 60 V DC many codes treat a pack as dangerous to touch (IEC 61140 band; from memory)."""


def household_notices(household: Household, month: int) -> tuple[Notice, ...]:
    """Every notice about the household as it is described, the gravest first.

    Parameters
    ----------
    month : int
        Month whose mean load is taken for volts under load, 1..12.
    """
    found = _found(household, month)
    proven = [_with_proven_remedies(household, month, found, notice) for notice in found]
    order = {"stop": 0, "check": 1, "note": 2}
    return tuple(sorted(proven, key=lambda notice: order[notice.level]))


def _found(household: Household, month: int) -> list[Notice]:
    found: list[Notice] = []
    for bank in household.banks:
        found += _bank(bank)
        found += _window(bank)
    for supply in household.supplies():
        found += _pack(supply.bank, supply.inverter)
        found += _under_load(household, supply, month)
    found += sky_notices(household)
    for load in household.loads:
        found += _load(household, load)
    found += _stranded(household)
    return found


def _with_proven_remedies(household: Household, month: int, found: list[Notice], notice: Notice) -> Notice:
    """The notice with those remedies only that can be saved, mend it, and bring no new stop."""
    before = Counter((one.code, one.level) for one in found)
    kept = []
    for remedy in notice.remedies:
        changed = _remedied(household, remedy)
        if changed is None:
            continue
        after = Counter((one.code, one.level) for one in _found(changed, month))
        more_stops = any(level == "stop" and count > before[code, level] for (code, level), count in after.items())
        if after[notice.code, notice.level] < before[notice.code, notice.level] and not more_stops:
            kept.append(remedy)
    return dataclasses.replace(notice, remedies=tuple(kept))


def _remedied(household: Household, remedy: Remedy) -> Household | None:
    """The household as the remedy would leave it; None if it would be refused."""
    document = write(household)
    things = document["sun"]["arrays"] if remedy.section == "arrays" else document[remedy.section]
    thing = next(one for one in things if one["id"] == remedy.item_id)
    for name, value in remedy.values.items():
        *outer, last = name.split(".")
        place = thing
        for part in outer:
            place = place[part]
        place[last] = value
    try:
        return read(document)
    except InputError:
        return None


def _bank(bank: Bank) -> Iterator[Notice]:
    cell, board = bank.cell, bank.board
    if cell.needs_board and board is None:
        yield Notice(
            level="stop",
            code="no-board",
            page="banks",
            text=f"{bank.name} has no protection board. Lithium and sodium-ion cells must not be charged or "
            "discharged without one that guards every cell; enter its limits, or do not use the bank.",
        )
    if board is not None and board.cell_high_v < bank.charge_end_cell_v:
        yield Notice(
            level="check",
            code="board-below-charge",
            page="banks",
            text=f"{bank.name}: the board stops charge at {board.cell_high_v:g} V per cell, below the charge setting "
            f"of {bank.charge_end_cell_v:g} V. It would open in the middle of a charge.",
            remedies=(
                Remedy(
                    label=f"End the charge at {board.cell_high_v - 0.05:.2f} V per cell",
                    section="banks",
                    item_id=bank.id,
                    values={"charge_v": round(board.cell_high_v - 0.05, 3)},
                ),
            ),
        )
    if bank.tested_ah is not None and not 0.6 <= bank.tested_ah / bank.label_ah <= 1.1:
        yield Notice(
            level="check",
            code="tested-ah",
            page="banks",
            text=f"{bank.name}: tested {bank.tested_ah:g} Ah is {bank.tested_ah / bank.label_ah * 100:.0f} % of the "
            f"label's {bank.label_ah:g} Ah; 60 to 110 % would be usual. Was the test complete, and of one cell?",
        )
    if board is not None and not (cell.v_low - 0.05 <= board.cell_low_v and board.cell_high_v <= cell.v_max + 0.05):
        yield Notice(
            level="stop",
            code="board-outside-cell",
            page="banks",
            text=f"{bank.name}: its board lets a cell go from {board.cell_low_v:g} to {board.cell_high_v:g} V; "
            f"{cell.name} ends at {cell.v_low:g} and {cell.v_max:g} V. Such a board does not guard it.",
        )
    if board is not None and board.charge_min_c < cell.charge_min_c and bank.cell_c < cell.charge_min_c:
        yield Notice(
            level="stop",
            code="board-charges-frozen",
            page="banks",
            text=f"{bank.name}: at {bank.cell_c:g} °C its board still lets a charge in; {cell.name} must not be "
            "charged "
            f"below {cell.charge_min_c:g} °C. Stop the charge by hand or warm the cells.",
        )
    if bank.cell_c > cell.charge_max_c:
        yield Notice(
            level="check",
            code="too-hot-to-charge",
            page="banks",
            text=f"{bank.name}: at {bank.cell_c:g} °C no charge is counted; {cell.name} is charged up to "
            f"{cell.charge_max_c:g} °C. Cool the cells first; the maker’s sheet rules.",
        )
    if bank.cell_c < cell.discharge_min_c:
        yield Notice(
            level="check",
            code="too-cold-to-discharge",
            page="banks",
            text=f"{bank.name}: at {bank.cell_c:g} °C nothing is counted as usable; {cell.name} is discharged down to "
            f"{cell.discharge_min_c:g} °C.",
        )
    if bank.cell_c < bank.charge_min_c:
        yield Notice(
            level="check",
            code="too-cold-to-charge",
            page="banks",
            text=f"{bank.name}: at {bank.cell_c:g} °C no charge goes in; charging is refused below "
            f"{bank.charge_min_c:g} °C. Warm the cells first; the maker's sheet rules.",
        )
    if cell.v_full * bank.series > EXTRA_LOW_VOLTAGE_V:
        yield Notice(
            level="check",
            code="over-60-v",
            page="banks",
            text=f"{bank.name} can stand at {cell.v_full * bank.series:.1f} V when full, above 60 V DC: dangerous to "
            "touch, and other rules may apply. Ask a licensed electrician.",
        )


def _window(bank: Bank) -> Iterator[Notice]:
    """A window that is empty, or that looks as if a share or its rest was typed."""
    reserve, top = bank.reserve_soc, bank.top_reached_soc
    if bank.reserve_v is None and reserve >= top:
        yield Notice(
            level="stop",
            code="empty-window",
            page="banks",
            text=f"{bank.name}: its charge ends at about {top * 100:.0f} %, at or under the reserve of "
            f"{reserve * 100:g} %: nothing is usable. Charge higher or keep less.",
        )
    elif bank.reserve_v is None and reserve > 0.6:
        yield Notice(
            level="check",
            code="large-reserve",
            page="banks",
            text=f"{bank.name} keeps {reserve * 100:g} % in reserve and may use {(1 - reserve) * 100:g} %. The "
            "other way "
            "round?",
            remedies=(
                Remedy(
                    label=f"Keep {(1 - reserve) * 100:g} % in reserve",
                    section="banks",
                    item_id=bank.id,
                    values={"reserve_soc": round(1 - reserve, 4)},
                ),
            ),
        )
    elif bank.reserve_v is None and 0.0 < reserve <= 0.01 and reserve * 100.0 < top:
        yield Notice(
            level="check",
            code="share-for-percent",
            page="banks",
            text=f"{bank.name} keeps {reserve * 100:g} % in reserve, as typed. Was {reserve * 10_000:g} % meant?",
            remedies=(
                Remedy(
                    label=f"Keep {reserve * 10_000:g} % in reserve",
                    section="banks",
                    item_id=bank.id,
                    values={"reserve_soc": round(reserve * 100.0, 4)},
                ),
            ),
        )


def _pack(bank: Bank, inverter: Inverter) -> Iterator[Notice]:
    cell = bank.cell
    charge_v = bank.charge_end_cell_v * bank.series
    if charge_v > inverter.dc_max_v + 1e-9:
        lower = int(inverter.dc_max_v / bank.series * 100) / 100
        fits = lower > cell.v_nominal
        yield Notice(
            level="stop",
            code="over-inverter",
            page="banks",
            text=f"{bank.name} would stand at {charge_v:.1f} V when charged; {inverter.name} ends at "
            f"{inverter.dc_max_v:g} V and can be damaged. Lower the charge setting and let nothing else charge "
            "higher, or use fewer cells in series.",
            remedies=(
                Remedy(
                    label=f"End the charge at {lower:.2f} V per cell",
                    section="banks",
                    item_id=bank.id,
                    values={"charge_v": lower},
                ),
            )
            if fits
            else (),
        )
    nominal_v, other_v = cell.v_nominal * bank.series, cell.v_nominal * bank.parallel
    outside = not inverter.dc_min_v <= nominal_v <= inverter.dc_max_v
    if outside and inverter.dc_min_v <= other_v <= inverter.dc_max_v:
        yield Notice(
            level="check",
            code="series-parallel",
            page="banks",
            text=f"{bank.name}: {bank.series} cells in series make {nominal_v:.1f} V, outside {inverter.name}'s "
            f"{inverter.dc_min_v:g} to {inverter.dc_max_v:g} V; {bank.parallel} in series would fit. Swapped?",
            remedies=(
                Remedy(
                    label=f"Make it {bank.parallel} in series, {bank.series} in parallel",
                    section="banks",
                    item_id=bank.id,
                    values={"series": bank.parallel, "parallel": bank.series},
                ),
            ),
        )
    elif outside:
        yield Notice(
            level="stop",
            code="outside-inverter",
            page="banks",
            text=f"{bank.name}: {bank.series} cells in series make {nominal_v:.1f} V, outside {inverter.name}'s "
            f"{inverter.dc_min_v:g} to {inverter.dc_max_v:g} V.",
        )
    if inverter.restart_v > charge_v:
        yield Notice(
            level="check",
            code="restart-above-charge",
            page="inverter",
            text=f"{inverter.name} restarts at {inverter.restart_v:g} V, above the {charge_v:.1f} V at which "
            f"{bank.name} is charged: once off, it would stay off.",
        )
    limit_a = bank.charge_limit_a if bank.charge_limit_a is not None else cell.charge_c_max * bank.ah
    if inverter.charge_limit_a is not None and inverter.charge_limit_a > limit_a:
        yield Notice(
            level="check",
            code="charger-over-bank",
            page="inverter",
            text=f"{inverter.name} may charge with {inverter.charge_limit_a:g} A; {bank.name} takes at most "
            f"{limit_a:g} A. Set the charger to that.",
        )


def _under_load(household: Household, supply: Supply, month: int) -> Iterator[Notice]:
    bank, inverter = supply.bank, supply.inverter
    end = floor(bank, inverter, max(mean_dc_w(household, supply, month), 1.0))
    if bank.reserve_v is None and end.cutoff_soc > bank.reserve_soc + 0.005:
        sure = min(ceil(end.cutoff_soc * 100.0) / 100.0, bank.top_soc - 0.01)
        yield Notice(
            level="check",
            code="reserve-under-cutoff",
            page="banks",
            text=f"{bank.name}: under your mean load it is cut off at about {end.cutoff_soc * 100:.0f} %, before it "
            f"reaches your reserve of {bank.reserve_soc * 100:g} %.",
            remedies=(
                Remedy(
                    label=f"Keep {sure * 100:.0f} % in reserve",
                    section="banks",
                    item_id=bank.id,
                    values={"reserve_soc": sure},
                ),
            ),
        )
    ac_w, dc_w = load_hours(household, supply, datetime(2001, month, 1), 1)
    yield from _board_current(bank, inverter, (ac_w + dc_w).tolist())
    if ac_w.size and float(ac_w.max()) > inverter.rated_w:
        yield Notice(
            level="check",
            code="over-rated",
            page="loads",
            text=f"Your loads come to {float(ac_w.max()):,.0f} W in their highest hour; {inverter.name} gives "
            f"{inverter.rated_w:,.0f} W. Was a load typed in the wrong unit, or do two run at once?",
        )


def _board_current(bank: Bank, inverter: Inverter, loads_w: list[float]) -> Iterator[Notice]:
    """A board that would open at the loads' highest hour, or below what the inverter can draw."""
    if bank.board is None or not loads_w:
        return
    limit_a = bank.board.current_limit_a
    lowest_v = max(cutoff_cell_v(bank, inverter) * bank.series, 1.0)
    hour_a = inverter.dc_w(min(max(loads_w), inverter.rated_w)) / (bank.cell.v_nominal * bank.series)
    most_a = inverter.dc_w(inverter.rated_w) / lowest_v
    if hour_a > limit_a:
        yield Notice(
            level="stop",
            code="board-opens",
            page="banks",
            text=f"{bank.name}: your loads draw about {hour_a:.0f} A in their highest hour; its board opens at "
            f"{limit_a:g} A and everything goes dark. Use another board, or move loads apart.",
        )
    elif most_a > limit_a:
        yield Notice(
            level="check",
            code="board-below-inverter",
            page="banks",
            text=f"{bank.name}: at full power {inverter.name} draws up to {most_a:.0f} A at its cut-off; the board "
            f"opens at {limit_a:g} A. A kettle beside a pump could put the lights out.",
        )


def _stranded(household: Household) -> Iterator[Notice]:
    """Loads and panels on an inverter that no bank is joined to: they are in no answer."""
    alive = {bank.inverter for bank in household.banks}
    names = {inverter.id: inverter.name for inverter in household.inverters}
    for load in household.loads:
        if load.inverter and load.inverter not in alive:
            yield Notice(
                level="stop",
                code="load-without-bank",
                page="loads",
                text=f"{load.name} is fed by {names[load.inverter]}, which has no bank: it is in no answer. Choose "
                "another inverter for it on Loads, or join a bank on Banks.",
            )
    for array in household.sun.arrays:
        if array.inverter and array.inverter not in alive:
            yield Notice(
                level="check",
                code="panels-without-bank",
                page="sun",
                text=f"{array.name} charges through {names[array.inverter]}, which has no bank: "
                "its sun is not counted.",
            )


def _load(household: Household, load: Load) -> Iterator[Notice]:
    feeding = [i for i in household.inverters if i.id == (load.inverter or household.first_inverter)]
    rest_kwh = sum(daily_kwh(other, load.months[0], household.south) for other in household.loads if other is not load)
    for note in notes(load, rated_w=feeding[0].rated_w if feeding else None, others_kwh=rest_kwh):
        mend = note.remedy
        cure = () if mend is None else (Remedy(section="loads", item_id=load.id, **mend),)
        yield Notice(level="check", code=note.code, text=note.text, page="loads", remedies=cure)
