"""The engine for scripts and notebooks: a household document in, answers out, in as few words as the pages ask for.

These are the names of `import engine`. Every answer is a frozen dataclass of plain numbers, not rounded, its fields
named with their units; `plain_data` makes lists and dictionaries of one. Shares are 0 to 1. Times are the house's local
standard time (no summer time), without a time zone. Nothing here reads a clock, goes online or keeps anything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from engine.answers.answer import supply_of
from engine.answers.autonomy import Autonomy, autonomy
from engine.answers.comparing import Comparison, comparing
from engine.answers.sizing import Sizing, sizing
from engine.bench.analysis import analyse
from engine.bench.cell_of_log import cell_of
from engine.bench.cycles import BenchResult, tested_at_c
from engine.bench.files import guess, read_log, with_choices
from engine.bench.measured import BenchRow, MeasuredCell, bench_rows, c_rate_of, chemistry_of
from engine.cells import catalogue
from engine.cells.chemistry import TABLE_C, Chemistry
from engine.errors import InputError, Unreachable
from engine.house.household import Household, read, write
from engine.json_answer import plain_data
from engine.sky.days import Sky, parse_sky

__all__ = [
    "Autonomy",
    "BenchLogReading",
    "BenchRow",
    "Chemistry",
    "Comparison",
    "Household",
    "InputError",
    "Sizing",
    "Sky",
    "Unreachable",
    "days_to_come",
    "end_volts",
    "how_long",
    "plain_data",
    "rainy_week",
    "read_bench_log",
    "read_household",
    "size_bank",
    "write_household",
]

read_household = read
write_household = write


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchLogReading:
    """What a bench log tells of one cell.

    Attributes
    ----------
    result : BenchResult
        Rows, cycles with their Ah and Wh, and findings, worst first.
    cell : MeasuredCell
        The measured curve; `full_ah` is what the cell held [Ah].
    chemistry : Chemistry
        The same as a bank's own chemistry: charge `soc` [-], rested volts `ocv_v` [V] and resistances
        `r_slow_v_per_c`, `r_fast_v_per_c` [V for each C], tuples of one length; its `sources` say what was measured.
    tested_c : float
        Mean cell temperature of the test, where the log has it, else 25 [degC]; a bank's `tested_c`.
    """

    result: BenchResult
    cell: MeasuredCell
    chemistry: Chemistry
    tested_c: float


def days_to_come(household: Household, days: str, month: int, count: int = 0) -> Sky:
    """Return the days that an answer is asked about.

    Parameters
    ----------
    days : str
        As on the pages: ``none``, words such as ``dark,dull,bright``, ``kc:0.1,0.2`` (shares of a clear day),
        ``kwh:1.5,0.8`` (of all panels), ``oktas:8,8,4``, or the id of a spell, as ``made_7d_1in10`` (days, years).
    month : int
        Month asked about, 1 to 12.
    count : int
        Days wanted; after the listed ones come average ones of the month. A list is never cut.

    Returns
    -------
    Sky
        `kc`, (n,): light of each day as a share of a clear day's [-].

    Raises
    ------
    InputError
        On ``month`` or ``sky``, with the sentence that says what may be written.
    """
    if not 1 <= month <= 12:
        raise InputError("month", f"Month must be a whole number from 1 to 12; got {month}.")
    return parse_sky(days, household.site, household.sun, month, count)


def how_long(household: Household, charges: Mapping[str, float], sky: Sky, at: datetime) -> Autonomy:
    """Return how long each bank lasts from a moment on.

    Parameters
    ----------
    charges : mapping of str to float
        Charge now by bank id, 0 to 1 [-]; a bank left out is full.
    sky : Sky
        The days to come, of `days_to_come`: no end is seen beyond them.
    at : datetime
        The moment, local standard time, without a time zone.

    Returns
    -------
    Autonomy
        Hours to the reserve, low, likely and high [h]; None where the days to come do not bring it there.

    Raises
    ------
    InputError
        If a charge is outside 0 to 1 or names no joined bank, or `at` has a time zone.
    Unreachable
        If no bank is joined to an inverter.
    """
    return autonomy(household, charges, sky, _standard("at", at))


def size_bank(household: Household, days: int, sky: Sky, month: int, bank_id: str | None = None) -> Sizing:
    """Return how big a bank rides out so many dull days.

    Parameters
    ----------
    days : int
        Days to ride out, 1 to 7.
    sky : Sky
        The dull days; of more than `days` the worst run is taken, beyond them their mean day.
    month : int
        Month whose sun and loads count, 1 to 12.
    bank_id : str or None
        Whose cells, window and inverter are taken; None: the first joined bank.

    Returns
    -------
    Sizing
        Usable and label kWh, strings, and a row for each of 1 to 7 days.

    Raises
    ------
    InputError
        If `days` or `month` is out of range.
    Unreachable
        If there is no such bank or no load, or no size does it.
    """
    return sizing(household, supply_of(household, bank_id), days, month, sky)


def rainy_week(
    household: Household, sky: Sky, start: datetime, basis: str = "label", bank_id: str | None = None
) -> Comparison:
    """Return the same days and loads run on a bank of each chemistry of the catalogue.

    Parameters
    ----------
    sky : Sky
        The days, the first being that of `start`.
    start : datetime
        A midnight, local standard time, without a time zone.
    basis : str
        ``label`` for banks of equal label kWh, ``usable`` for equal usable kWh.
    bank_id : str or None
        The bank that is replaced; None: the first joined one.

    Returns
    -------
    Comparison
        One `Contender` a chemistry, the steadiest first: kWh unserved and lost, lowest charge, hours in the dark.

    Raises
    ------
    InputError
        If `basis` is neither, or `start` has a time zone.
    Unreachable
        If there is no such bank, or no chemistry fits its inverter.
    """
    return comparing(household, supply_of(household, bank_id), sky, _standard("start", start), basis)


def read_bench_log(
    content: bytes, chemistry: str, *, label_ah: float | None = None, series: int = 1
) -> BenchLogReading:
    """Read a bench tester's log (time, volts, amperes; any delimited text) into the curve of its cell.

    Columns and units are taken as their names say; what stays in doubt is asked on the page Cell tests alone.

    Parameters
    ----------
    content : bytes
        The file.
    chemistry : str
        What the cell is, by its id in the catalogue, as ``lfp``: what the log does not show is borrowed from it.
    label_ah : float or None
        What the cell's label says [Ah].
    series : int
        Cells in series behind the volts, 1 or more.

    Raises
    ------
    InputError
        If the chemistry is not known, the file is no such log, or it is not of this chemistry.
    Unreachable
        If it holds no charge at a steady current.
    """
    if chemistry not in catalogue.names():
        raise InputError("chemistry", f"Chemistry must be one of {', '.join(catalogue.names())}; got “{chemistry}”.")
    base = catalogue.load(chemistry)
    result = analyse(read_log(content, with_choices(guess(content), kind="log")), label_ah, series)
    cell, cycle = cell_of(result, base, label_ah)
    seen_c = tested_at_c(cycle)
    tested_c = TABLE_C if seen_c is None else seen_c
    own = chemistry_of(cell, base, f"{base.base_id}/own", f"{base.name}, own test", tested_c)
    return BenchLogReading(result=result, cell=cell, chemistry=own, tested_c=tested_c)


def end_volts(cell: MeasuredCell, volts: Sequence[float], charge_a: float | None = None) -> tuple[BenchRow, ...]:
    """Return how full each voltage that ends a charge leaves a measured cell.

    Parameters
    ----------
    volts : sequence of float
        End volts [V per cell], (n,).
    charge_a : float or None
        Current of the charge [A], above 0; None: that of the test. A hold ends at the test's own tail.

    Returns
    -------
    tuple of BenchRow
        n rows: shares of `cell.full_ah` without and with a hold [-], each with its standard error.

    Raises
    ------
    InputError
        If the current is not above 0 A.
    """
    if charge_a is None:
        return bench_rows(cell, volts=tuple(volts))
    if not charge_a > 0.0:
        raise InputError("charge_a", f"Charge current must be above 0 A; got {charge_a:g} A.")
    return bench_rows(cell, c_rate_of(charge_a, cell.full_ah), tuple(volts))


def _standard(field: str, moment: datetime) -> datetime:
    if moment.tzinfo is not None:
        raise InputError(
            field, f"{field} must be local standard time without a time zone; got one with {moment.tzname()}."
        )
    return moment
