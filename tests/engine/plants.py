"""Banks, inverters and a generator that the tests of the balance share."""

from __future__ import annotations

import dataclasses

from engine.cells import catalogue
from engine.cells.chemistry import Chemistry
from engine.house.bank import Bank, Board
from engine.house.generator import Generator
from engine.house.inverter import Inverter
from engine.sources import Source

IDEAL = Chemistry(
    id="ideal",
    name="Ideal cell",
    soc=(0.0, 1.0),
    ocv_v=(3.2, 3.2),
    r_slow_v_per_c=(0.0, 0.0),
    r_fast_v_per_c=(0.0, 0.0),
    v_nominal=3.2,
    v_low=2.5,
    v_full=3.65,
    v_charge=3.65,
    v_max=3.65,
    sources={"ocv_v": Source(kind="assumed", text="constant volts, for hand checks")},
)
"""Household H's cell (product.md story 2): constant volts, no resistance, every ampere-hour comes back."""

SERIES = {"sodium_layered": 15, "lfp": 16, "nmc": 14, "lead_sealed": 24, "lead_flooded": 24, "lead_gel": 24}
"""Cells in series for a 40 to 60 V inverter."""


def inverter(**changes: object) -> Inverter:
    """Household H's inverter: AC / 0.93 + 40 W idle, 40 to 60 V, 5 kW."""
    plain = Inverter(
        id="main",
        name="Inverter",
        dc_min_v=40,
        dc_max_v=60,
        restart_v=44,
        rated_w=5000,
        idle_w=40,
        k1=1 / 0.93 - 1,
        k2=0,
    )
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def bank(chemistry: str | Chemistry = "lfp", **changes: object) -> Bank:
    """One string of 280 Ah cells of a chemistry, charged as is usual for it."""
    cell = catalogue.load(chemistry) if isinstance(chemistry, str) else chemistry
    board = Board(cell_low_v=cell.v_low, cell_high_v=cell.v_max, charge_min_c=0, current_limit_a=300)
    plain = Bank(
        id="bank",
        name="Bank",
        chemistry=chemistry,
        inverter="main",
        series=SERIES.get(cell.id, 16),
        label_ah=280,
        cell_c=25,
        hold=cell.holds,
        reserve_soc=0.2,
        board=board if cell.needs_board else None,
    )
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def generator(**changes: object) -> Generator:
    """A 3 kW generator whose charger puts 2 kW into the bank."""
    plain = Generator(
        id="gen",
        name="Generator",
        rated_w=3000,
        charger_w=2000,
        full_l_per_h=1.2,
        idle_l_per_h=0.4,
        start_soc=0.5,
        stop_soc=0.8,
        least_run_h=0,
    )
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]
