"""Copper and gauges against printed tables, each to the digits it is printed with.

READ: seen in a public copy of the table while this was written. MEM: from memory.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.answers.wiring import wiring
from engine.house.household import read
from engine.house.wiring import AWG_NAMES, METRIC_MM2, awg_diameter_mm, awg_mm2, leg_ohm

H = Path(__file__).parents[1] / "households" / "h.json"
MM_PER_MIL = 0.0254
FT_PER_KM = 3280.84

# ASTM B258 as printed in handbooks: inches to four decimals. MEM.
DIAMETERS_IN = {
    36: 0.0050, 14: 0.0641, 12: 0.0808, 10: 0.1019, 8: 0.1285, 6: 0.1620, 4: 0.2043, 3: 0.2294, 2: 0.2576, 1: 0.2893,
    0: 0.3249, -1: 0.3648, -2: 0.4096, -3: 0.4600,
}  # fmt: skip

# NEC chapter 9, table 8: circular mils. READ. The standard squares the diameter rounded to 0.1 mil.
CIRCULAR_MILS = {
    14: 4110, 12: 6530, 10: 10380, 8: 16510, 6: 26240, 4: 41740, 3: 52620, 2: 66360, 1: 83690, 0: 105600, -1: 133100,
    -2: 167800, -3: 211600,
}  # fmt: skip

# mm² as printed in handbooks for solid round wire, three figures. MEM.
AREAS_MM2 = {"14": 2.08, "12": 3.31, "10": 5.26, "8": 8.37, "6": 13.3, "4": 21.2, "2": 33.6, "1": 42.4, "1/0": 53.5,
             "2/0": 67.4, "3/0": 85.0, "4/0": 107.0}  # fmt: skip

# NEC chapter 9, table 8: ohm per 1000 ft of uncoated copper, direct current, 75 °C. READ: solid for 14 to 8, stranded
# from 6 on.
SOLID_OHM_PER_KFT = {"14": 3.07, "12": 1.93, "10": 1.21, "8": 0.764}
STRANDED_OHM_PER_KFT = {"6": 0.491, "4": 0.308, "3": 0.245, "2": 0.194, "1": 0.154, "1/0": 0.122, "2/0": 0.0967,
                        "3/0": 0.0766, "4/0": 0.0608}  # fmt: skip

# IEC 60228: highest ohm per km of plain copper at 20 °C, class 2 (stranded) and class 5 (flexible). READ.
IEC_OHM_PER_KM = {
    1.5: (12.1, 13.3), 2.5: (7.41, 7.98), 4: (4.61, 4.95), 6: (3.08, 3.30), 10: (1.83, 1.91), 16: (1.15, 1.21),
    25: (0.727, 0.780), 35: (0.524, 0.554), 50: (0.387, 0.386), 70: (0.268, 0.272), 95: (0.193, 0.206),
    120: (0.153, 0.161), 150: (0.124, 0.129), 185: (0.0991, 0.106), 240: (0.0754, 0.0801),
}  # fmt: skip


def ohm_per_km(area_mm2: float, conductor_c: float) -> float:
    """One conductor of 1 km: half of what a run of 1 km one way has."""
    return leg_ohm(1000.0, area_mm2, conductor_c) / 2.0


@pytest.mark.parametrize(("number", "inches"), DIAMETERS_IN.items())
def test_diameters_of_the_gauge(number: int, inches: float) -> None:
    assert round(awg_diameter_mm(number) / 25.4, 4) == inches


@pytest.mark.parametrize(("number", "printed"), CIRCULAR_MILS.items())
def test_circular_mils_of_the_gauge(number: int, printed: int) -> None:
    mils = round(awg_diameter_mm(number) / MM_PER_MIL, 1)
    assert round(mils**2, -2 if printed > 100_000 else -1) == printed


@pytest.mark.parametrize(("name", "printed"), AREAS_MM2.items())
def test_areas_of_the_gauge(name: str, printed: float) -> None:
    assert float(f"{awg_mm2(name):.3g}") == printed


@pytest.mark.parametrize(("name", "printed"), SOLID_OHM_PER_KFT.items())
def test_solid_copper_at_75_degrees(name: str, printed: float) -> None:
    assert float(f"{ohm_per_km(awg_mm2(name), 75.0) * 1000.0 / FT_PER_KM:.3g}") == printed


@pytest.mark.parametrize(("name", "printed"), STRANDED_OHM_PER_KFT.items())
def test_stranded_copper_resists_two_percent_more_than_told(name: str, printed: float) -> None:
    told = ohm_per_km(awg_mm2(name), 75.0) * 1000.0 / FT_PER_KM
    assert 1.01 < printed / told < 1.03


def test_most_that_iec_60228_allows_is_as_much_more_as_the_assumption_says() -> None:
    (said,) = [
        one.source for one in wiring(read(H.read_text(encoding="utf-8")), 1).assumptions if "Strands" in one.name
    ]
    for place, name in enumerate(("class 2", "class 5")):
        more = [printed[place] / ohm_per_km(area_mm2, 20.0) - 1.0 for area_mm2, printed in IEC_OHM_PER_KM.items()]
        assert min(more) > 0.0
        assert f"({name}) {max(more) * 100:.0f} % more" in said


def test_a_printed_example_of_a_voltage_drop() -> None:
    # READ on a public calculator's page: 10 mm², 5 m one way, 30 A at 20 °C from 12.8 V: 0.0172 ohm, 0.52 V.
    ohm = leg_ohm(5.0, 10.0, 20.0)
    assert round(ohm, 4) == 0.0172
    assert round(30.0 * ohm, 2) == 0.52


def test_every_size_of_the_page_is_in_the_tables() -> None:
    assert set(AWG_NAMES) == SOLID_OHM_PER_KFT.keys() | STRANDED_OHM_PER_KFT.keys()
    assert tuple(IEC_OHM_PER_KM) == METRIC_MM2
