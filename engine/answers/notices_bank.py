"""What is wrong, odd or dangerous about one bank: its cells and board, its window, and its pack on an inverter."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import ceil

from engine.answers.answer import Notice, Remedy
from engine.answers.notices_charge import charger_notices, highest_cell_notices
from engine.answers.notices_cold import charger_cold_notices, cold_charge_notices, frozen_notices
from engine.cells.chemistry import capacity_share
from engine.fields import quantities
from engine.house.bank import Bank, cutoff_cell_v
from engine.house.inverter import Inverter
from engine.house.span import least_cutoff_cell_v, lowest_cutoff_v

STATED_WITHIN = 0.05
"""So far a label's kWh may be from its Ah and volts: makers round both (judgement)."""
LEAST_AH, MOST_AH = quantities(Bank)["label_ah"].low, quantities(Bank)["label_ah"].high
EXTRA_LOW_VOLTAGE_V = 60.0
"""Above 60 V DC many codes treat a pack as dangerous to touch (IEC 61140 band; from memory)."""


def mend(bank: Bank, label: str, values: Mapping[str, float | str | None]) -> Remedy:
    """One click that sets some fields of a bank."""
    return Remedy(label=label, section="banks", item_id=bank.id, values=values)


def _stated_notices(bank: Bank) -> Iterator[Notice]:
    """Energy on the label that the ampere-hours and the cells do not give."""
    if bank.stated_kwh is None or abs(bank.label_kwh / bank.stated_kwh - 1.0) <= STATED_WITHIN:
        return
    implied_ah = round(bank.label_ah * bank.stated_kwh / bank.label_kwh, 1)
    remedies = [mend(bank, "Forget the kWh", {"stated_kwh": None})]
    if LEAST_AH <= implied_ah <= MOST_AH:
        remedies.append(mend(bank, f"Take {implied_ah:g} Ah for one cell", {"label_ah": implied_ah}))
    yield Notice(
        level="check",
        code="stated-kwh",
        page="banks",
        text=f"{bank.name}: {bank.label_ah:g} Ah × {bank.cell.v_nominal:g} V × {bank.series} in series × "
        f"{bank.parallel} in parallel are {bank.label_kwh:.3g} kWh; its label says {bank.stated_kwh:g} kWh. Is the Ah "
        "that of one cell, and are series and parallel the right way round?",
        remedies=tuple(remedies),
    )


def cell_notices(bank: Bank) -> Iterator[Notice]:
    """Cells, board and temperature."""
    yield from _board_notices(bank)
    yield from highest_cell_notices(bank)
    yield from _stated_notices(bank)
    yield from _tested_notices(bank)
    yield from _unguarded_notices(bank)
    yield from frozen_notices(bank)
    yield from _temperature_notices(bank)
    yield from cold_charge_notices(bank)
    yield from _touch_notices(bank)


def _board_notices(bank: Bank) -> Iterator[Notice]:
    """No board where there must be one, or one that opens in the middle of a charge."""
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
        )


def _tested_notices(bank: Bank) -> Iterator[Notice]:
    if bank.tested_ah is not None and not 0.6 <= bank.tested_ah / bank.label_ah <= 1.1:
        yield Notice(
            level="check",
            code="tested-ah",
            page="banks",
            text=f"{bank.name}: tested {bank.tested_ah:g} Ah is {bank.tested_ah / bank.label_ah * 100:.0f} % of the "
            f"label's {bank.label_ah:g} Ah; 60 to 110 % would be usual. Was the test complete, and of one cell?",
        )


def _unguarded_notices(bank: Bank) -> Iterator[Notice]:
    """A board that lets a cell leave the volts of its chemistry."""
    cell, board = bank.cell, bank.board
    if board is not None and not (cell.v_low - 0.05 <= board.cell_low_v and board.cell_high_v <= cell.v_max + 0.05):
        yield Notice(
            level="stop",
            code="board-outside-cell",
            page="banks",
            text=f"{bank.name}: its board lets a cell go from {board.cell_low_v:g} to {board.cell_high_v:g} V; "
            f"{cell.name} ends at {cell.v_low:g} and {cell.v_max:g} V. Such a board does not guard it.",
        )


def _temperature_notices(bank: Bank) -> Iterator[Notice]:
    """Cells too hot to be charged, or too cold to give anything."""
    cell = bank.cell
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
    elif bank.cell_c < cell.cold_known_c:
        share = capacity_share(cell, cell.cold_known_c)
        yield Notice(
            level="check",
            code="colder-than-known",
            page="cold",
            text=f"{bank.name}: nothing is known of what {cell.name} holds below {cell.cold_known_c:.3g} °C. "
            f"At {bank.cell_c:g} °C it is counted as at {cell.cold_known_c:.3g} °C, {share * 100:.0f} % of its "
            "ampere-hours; it holds less. Keep a larger reserve or warm the cells.",
        )


def _touch_notices(bank: Bank) -> Iterator[Notice]:
    stands_v = max(bank.full_v, bank.here_cell_v(bank.charge_end_cell_v) * bank.series)
    if stands_v > EXTRA_LOW_VOLTAGE_V:
        yield Notice(
            level="check",
            code="over-60-v",
            page="banks",
            text=f"{bank.name} can stand at {stands_v:.1f} V when full, above 60 V DC: dangerous to "
            "touch, and other rules may apply. Ask a licensed electrician.",
        )


def window_notices(bank: Bank) -> Iterator[Notice]:
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
            "other way round?",
            remedies=(
                mend(bank, f"Keep {(1 - reserve) * 100:g} % in reserve", {"reserve_soc": round(1 - reserve, 4)}),
            ),
        )
    elif bank.reserve_v is None and 0.0 < reserve <= 0.01 and reserve * 100.0 < top:
        yield Notice(
            level="check",
            code="share-for-percent",
            page="banks",
            text=f"{bank.name} keeps {reserve * 100:g} % in reserve, as typed. Was {reserve * 10_000:g} % meant?",
            remedies=(
                mend(bank, f"Keep {reserve * 10_000:g} % in reserve", {"reserve_soc": round(reserve * 100.0, 4)}),
            ),
        )


def _lower_cutoff_words(bank: Bank, inverter: Inverter) -> str:
    """How low the cut-off may be set where it is what keeps a pack outside; nothing where it is not."""
    if bank.cell.v_nominal * bank.series >= inverter.dc_min_v:
        return ""
    lowest_v = lowest_cutoff_v(bank, inverter)
    if lowest_v is None:
        volts, why = least_cutoff_cell_v(bank)
        return (
            f" As far as the bank goes, the cut-off may be set down to {_up(volts * bank.series):g} V ({why}); enter "
            f"the lowest DC volts of {inverter.name} to see whether it may."
        )
    return f" The cut-off may be set down to {_up(lowest_v):g} V."


def _lower_cutoff(bank: Bank, inverter: Inverter) -> Iterator[Remedy]:
    lowest_v = lowest_cutoff_v(bank, inverter)
    if lowest_v is not None and _up(lowest_v) <= bank.cell.v_nominal * bank.series:
        values = {"dc_min_v": _up(lowest_v)}
        yield Remedy(
            label=f"Set the cut-off to {_up(lowest_v):g} V", section="inverters", item_id=inverter.id, values=values
        )


def _up(volts: float) -> float:
    """Volts to the next tenth."""
    return ceil(volts * 10.0 - 1e-6) / 10.0


def pack_notices(bank: Bank, inverter: Inverter) -> Iterator[Notice]:
    """The whole pack on its inverter."""
    yield from _over_inverter(bank, inverter)
    yield from charger_notices(bank, inverter)
    yield from _outside_window(bank, inverter)
    yield from _cutoff_notices(bank, inverter)
    yield from _charger_over_bank(bank, inverter)
    yield from charger_cold_notices(bank, inverter)


def _over_inverter(bank: Bank, inverter: Inverter) -> Iterator[Notice]:
    charge_v = bank.charge_end_cell_v * bank.series
    if charge_v > inverter.dc_max_v + 1e-9:
        yield Notice(
            level="stop",
            code="over-inverter",
            page="banks",
            text=f"{bank.name} would stand at {charge_v:.1f} V when charged; {inverter.name} ends at "
            f"{inverter.dc_max_v:g} V and can be damaged. Lower the charge setting and let nothing else charge "
            "higher, or use fewer cells in series.",
        )


def _outside_window(bank: Bank, inverter: Inverter) -> Iterator[Notice]:
    """Nominal volts that the inverter does not take, and a swap of series and parallel that would cure it."""
    nominal_v, other_v = bank.cell.v_nominal * bank.series, bank.cell.v_nominal * bank.parallel
    outside = not inverter.dc_min_v <= nominal_v <= inverter.dc_max_v
    if outside and inverter.dc_min_v <= other_v <= inverter.dc_max_v:
        yield Notice(
            level="check",
            code="series-parallel",
            page="banks",
            text=f"{bank.name}: {bank.series} cells in series make {nominal_v:.1f} V, outside {inverter.name}'s "
            f"{inverter.dc_min_v:g} to {inverter.dc_max_v:g} V; {bank.parallel} in series would fit. Swapped?",
            remedies=(
                mend(
                    bank,
                    f"Make it {bank.parallel} in series, {bank.series} in parallel",
                    {"series": bank.parallel, "parallel": bank.series},
                ),
            ),
        )
    elif outside:
        yield Notice(
            level="stop",
            code="outside-inverter",
            page="banks",
            text=f"{bank.name}: {bank.series} cells in series make {nominal_v:.1f} V, outside {inverter.name}'s "
            f"{inverter.dc_min_v:g} to {inverter.dc_max_v:g} V." + _lower_cutoff_words(bank, inverter),
            remedies=tuple(_lower_cutoff(bank, inverter)),
        )


def _cutoff_notices(bank: Bank, inverter: Inverter) -> Iterator[Notice]:
    """A cut-off below what the cells may be taken to, and a restart that no charge reaches."""
    lowest_v = max(bank.cell.v_low, bank.board.cell_low_v if bank.board else 0.0) * bank.series
    charge_v = bank.charge_end_cell_v * bank.series
    if inverter.dc_min_v < lowest_v - 0.05:
        safe_v = _up(lowest_v)
        cure = Remedy(
            label=f"Set the cut-off to {safe_v:g} V",
            section="inverters",
            item_id=inverter.id,
            values={"dc_min_v": safe_v},
        )
        yield Notice(
            level="check",
            code="cutoff-under-cells",
            page="inverter",
            text=f"{inverter.name} cuts off at {inverter.dc_min_v:g} V, below the {lowest_v:.1f} V at which "
            f"{bank.name} is empty or its board opens: the board would end every deep discharge, and without one the "
            "cells are ruined.",
            remedies=(cure,) if safe_v < inverter.restart_v else (),
        )
    if inverter.restart_v > charge_v:
        yield Notice(
            level="check",
            code="restart-above-charge",
            page="inverter",
            text=f"{inverter.name} restarts at {inverter.restart_v:g} V, above the {charge_v:.1f} V at which "
            f"{bank.name} is charged: once off, it would stay off.",
        )


def _charger_over_bank(bank: Bank, inverter: Inverter) -> Iterator[Notice]:
    limit_a = bank.charge_limit_a if bank.charge_limit_a is not None else bank.cell.charge_c_max * bank.ah
    if bank.board is not None:
        limit_a = min(limit_a, bank.board.current_limit_a)
    if inverter.charge_limit_a is not None and inverter.charge_limit_a > limit_a:
        yield Notice(
            level="check",
            code="charger-over-bank",
            page="inverter",
            text=f"{inverter.name} may charge with {inverter.charge_limit_a:g} A; {bank.name} takes at most "
            f"{limit_a:g} A. Set the charger to that.",
        )


def board_current_notices(bank: Bank, inverter: Inverter, loads_w: list[float]) -> Iterator[Notice]:
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
