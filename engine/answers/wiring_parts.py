"""What the wiring of one bank has to carry, what its cables lose, and what its cells can drive into a short.

Volts are of the whole pack, currents amperes, resistances ohms of both conductors together. The highest current is
read at the lowest volts the inverter still runs at, never at nominal volts. The fault current comes from the maker's
1 kHz milliohms or from a stated figure: the resistances of a cell's curve are those of minutes, far too high, and do
not reach it. What a cable may carry without getting too hot is typed, never worked out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from engine.answers.charging_settings import advised_cutoff
from engine.house.bank import Bank, cutoff_cell_v
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter
from engine.house.load_notes import running_w
from engine.house.wiring import AWG_NAMES, DROP_SHARE, METRIC_MM2, Leg, Wiring, awg_mm2, leg_ohm
from engine.quantities import WH_PER_KWH

A_PER_KA = 1000.0
MOHM_PER_OHM = 1000.0
LOWER_V = 0.05
"""A cut-off is said to be lower from this much on: menus are set in tenths [V]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Charger:
    """Something that charges the bank: the most it can give [A], None where nobody said, and how that is read.

    `rough_a` stands in where nothing is said: what the rating of the panels alone would be.
    """

    name: str
    most_a: float | None
    rough_a: float
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """One size of cable: what it drops, and the longest run that keeps the wanted drop.

    `drop_v`, `drop_share`, `lost_w` and `keeps` are None where no length is entered.
    """

    name: str
    area_mm2: float
    drop_v: float | None
    drop_share: float | None
    lost_w: float | None
    keeps: bool | None
    longest_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run of cable as entered: the current it has to carry, and what it drops in discharge.

    `current_a` is the highest of discharge and charge, which heats it (`lost_w`) and its fuse; `drop_a` that of
    discharge, which alone the inverter's cut-off sees.
    """

    place: str
    """``main`` or ``string``."""
    leg: Leg
    current_a: float
    drop_a: float
    ohm: float
    drop_v: float
    drop_share: float
    lost_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Short-circuit currents [A], None where the cells' is not known; `known_a` is what is known of the whole bus."""

    string_a: float | None
    bank_a: float | None
    bus_a: float | None
    known_a: float
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BankWiring:
    """The wiring of one bank.

    Attributes
    ----------
    lowest_v, highest_v : float
        Lowest pack volts under load, and the highest its cells may stand at [V].
    lowest_by : str
        Whose cut-off that is: ``inverter`` or ``board``.
    charge_a : float or None
        All that charges it together [A]; None where one is not known, `charge_rough_a` has the panels' rating there.
    ruling_a, ruled_by : float, str
        The higher of both currents [A]; ``discharge`` or ``charge``.
    advised_v, advised_a : float or None
        The low cut-off that Charge volts and Commissioning say to set, where it is lower [V], and the higher of both
        currents at it [A].
    even_a, one_out_a : float
        What each string carries if all share evenly, and if one drops out [A]; one string alone carries all.
    total_drop_v, total_share : float or None
        Main cable and that of a string together at the highest current in discharge; None where no main cable is
        entered.
    drawn_w, beside_w : float
        Drawn from the bank at full power, and what of it loads measured at the battery take beside the inverter [W].
    cells_a, board_a, take_a : float
        What cells may give, what the board lets through (None without one), what the bank takes in charging [A].
    shared : bool
        Whether other banks are on the same bus: each must be able to carry all of it.
    """

    bank_id: str
    name: str
    inverter: str
    series: int
    parallel: int
    shared: bool
    wiring: Wiring | None
    lowest_v: float
    lowest_by: str
    highest_v: float
    drawn_w: float
    beside_w: float
    discharge_a: float
    chargers: tuple[Charger, ...]
    charge_a: float | None
    charge_rough_a: float
    ruling_a: float
    ruled_by: str
    advised_v: float | None
    advised_a: float | None
    even_a: float
    one_out_a: float
    main: Run | None
    string: Run | None
    total_drop_v: float | None
    total_share: float | None
    wanted_share: float
    sizes: tuple[Size, ...]
    fault: Fault
    cells_a: float
    board_a: float | None
    take_a: float

    @property
    def runs(self) -> tuple[Run, ...]:
        """The runs that are entered."""
        return tuple(run for run in (self.main, self.string) if run is not None)


def wired(household: Household, supply: Supply, bank: Bank) -> BankWiring:
    """Work out the wiring of one bank of a supply, as it is entered or not."""
    inverter, entered = supply.inverter, bank.wiring
    lowest_v = lowest_pack_v(bank, inverter)
    beside_w = most_beside_w(supply)
    drawn_w = inverter.dc_w(inverter.rated_w) + beside_w
    discharge_a = _discharge_a(bank, inverter, drawn_w)
    found = chargers(household, supply, lowest_v)
    stated = [one.most_a for one in found if one.most_a is not None]
    rough_a = _rough_a(found)
    ruling_a = max(discharge_a, rough_a)
    advised_v = _advised_v(supply, lowest_v)
    main, string = _runs(bank, (ruling_a, discharge_a), lowest_v)
    beside_v = 0.0 if string is None else string.ohm * discharge_a / bank.parallel
    total_v = None if main is None else main.drop_v + beside_v
    wanted = DROP_SHARE if entered is None else entered.drop_share
    return BankWiring(
        bank_id=bank.id,
        name=bank.name,
        inverter=inverter.name,
        series=bank.series,
        parallel=bank.parallel,
        shared=bool(supply.beside),
        wiring=entered,
        lowest_v=lowest_v,
        lowest_by="inverter" if inverter.dc_min_v >= lowest_v else "board",
        highest_v=highest_pack_v(bank),
        drawn_w=drawn_w,
        beside_w=beside_w,
        discharge_a=discharge_a,
        chargers=found,
        charge_a=sum(stated) if len(stated) == len(found) else None,
        charge_rough_a=rough_a,
        ruling_a=ruling_a,
        ruled_by="discharge" if discharge_a >= rough_a else "charge",
        advised_v=advised_v,
        advised_a=None
        if advised_v is None
        else max(drawn_w / advised_v, _rough_a(chargers(household, supply, advised_v))),
        even_a=ruling_a / bank.parallel,
        one_out_a=ruling_a / _strings_left(bank),
        main=main,
        string=string,
        total_drop_v=total_v,
        total_share=None if total_v is None else total_v / lowest_v,
        wanted_share=wanted,
        sizes=_sizes(
            None if main is None else main.leg.length_m,
            (ruling_a, discharge_a),
            lowest_v,
            wanted,
            beside_v,
            (entered or Wiring()).conductor_c,
        ),
        fault=_fault(supply, bank),
        cells_a=bank.cell.discharge_c_max * bank.ah,
        board_a=None if bank.board is None else bank.board.current_limit_a,
        take_a=bank.charge_limit_a if bank.charge_limit_a is not None else bank.cell.charge_c_max * bank.ah,
    )


def _discharge_a(bank: Bank, inverter: Inverter, drawn_w: float) -> float:
    """Current at full power where the discharge ends [A].

    A board opens at the bank: what the cables that are entered drop on the way is gone at the inverter, which draws the
    more, down to its own cut-off.
    """
    lowest_v = lowest_pack_v(bank, inverter)
    if inverter.dc_min_v >= lowest_v:
        return drawn_w / lowest_v
    under_root = max(lowest_v**2 - 4.0 * _way_ohm(bank) * drawn_w, 0.0)
    return drawn_w / max(0.5 * (lowest_v + sqrt(under_root)), inverter.dc_min_v)


def _way_ohm(bank: Bank) -> float:
    """Resistance of the cables of a bank as far as they are entered, all strings sharing [ohm]."""
    entered = bank.wiring
    if entered is None:
        return 0.0
    main, string = entered.main, entered.string if bank.parallel > 1 else None
    ohm = 0.0 if main is None else leg_ohm(main.length_m, main.area_mm2, entered.conductor_c)
    if string is not None:
        ohm += leg_ohm(string.length_m, string.area_mm2, entered.conductor_c) / bank.parallel
    return ohm


def _rough_a(found: Sequence[Charger]) -> float:
    """All chargers at once, those of unknown current by what feeds them [A]."""
    return sum(one.rough_a if one.most_a is None else one.most_a for one in found)


def _advised_v(supply: Supply, lowest_v: float) -> float | None:
    """The low cut-off to set, of banks on one bus the highest of theirs; None where it is no lower than now [V]."""
    advised_v = max(advised_cutoff(bank, supply.inverter)[0] * bank.series for bank in supply.banks)
    return advised_v if advised_v < lowest_v - LOWER_V else None


def most_beside_w(supply: Supply) -> float:
    """Most that loads measured at the battery take if all run at once, beside all that the inverter draws [W]."""
    return sum(running_w(load) for load in supply.loads if load.measured == "battery")


def lowest_pack_v(bank: Bank, inverter: Inverter) -> float:
    """Lowest volts of the pack under load: the inverter's cut-off or the board's, whichever is higher [V]."""
    return cutoff_cell_v(bank, inverter) * bank.series


def highest_pack_v(bank: Bank) -> float:
    """Highest volts the pack may stand at [V]: its cells' own highest, its charge end, or the volts it is equalised at.

    Those of lead-acid rise where its cells are colder than the temperature they are stated for.
    """
    cell = bank.cell
    return bank.here_cell_v(max(cell.v_max, bank.charge_end_cell_v, cell.equalise_v or 0.0)) * bank.series


def chargers(household: Household, supply: Supply, lowest_v: float) -> tuple[Charger, ...]:
    """What can charge a bank at once; a charger of so many watts gives most amperes at the lowest volts."""
    inverter, found = supply.inverter, []
    if supply.arrays:
        peak_w = sum(array.kwp for array in supply.arrays) * WH_PER_KWH
        stated = inverter.charge_limit_a
        how = f"{peak_w:,.0f} W of panels over {lowest_v:.4g} V" if stated is None else "its highest charging current"
        rough_a = peak_w / lowest_v if stated is None else stated
        found.append(Charger(name=f"Solar charger of {inverter.name}", most_a=stated, rough_a=rough_a, how=how))
    for one in household.generators:
        if (one.inverter or household.first_inverter) == inverter.id and one.charger_w > 0.0:
            most_a = one.charger_w / lowest_v
            how = f"{one.charger_w:,.0f} W over {lowest_v:.4g} V"
            found.append(Charger(name=f"Charger of {one.name}", most_a=most_a, rough_a=most_a, how=how))
    return tuple(found)


def _strings_left(bank: Bank) -> int:
    """Strings that carry everything if one drops out; one string alone carries all."""
    return max(bank.parallel - 1, 1)


def _runs(bank: Bank, highest_and_drop_a: tuple[float, float], lowest_v: float) -> tuple[Run | None, Run | None]:
    """The main cable and that of a string, as far as they are entered."""
    entered = bank.wiring
    if entered is None:
        return None, None
    main = _run("main", entered.main, highest_and_drop_a, lowest_v, entered.conductor_c)
    highest_a, drop_a = (amps / _strings_left(bank) for amps in highest_and_drop_a)
    of_string = entered.string if bank.parallel > 1 else None
    return main, _run("string", of_string, (highest_a, drop_a), lowest_v, entered.conductor_c)


def _run(
    place: str, leg: Leg | None, highest_and_drop_a: tuple[float, float], lowest_v: float, conductor_c: float
) -> Run | None:
    if leg is None:
        return None
    current_a, drop_a = highest_and_drop_a
    ohm = leg_ohm(leg.length_m, leg.area_mm2, conductor_c)
    drop_v = drop_a * ohm
    return Run(
        place=place,
        leg=leg,
        current_a=current_a,
        drop_a=drop_a,
        ohm=ohm,
        drop_v=drop_v,
        drop_share=drop_v / lowest_v,
        lost_w=current_a**2 * ohm,
    )


def _sizes(
    length_m: float | None,
    highest_and_drop_a: tuple[float, float],
    lowest_v: float,
    wanted: float,
    beside_v: float,
    conductor_c: float,
) -> tuple[Size, ...]:
    """Usual sizes of the main cable; `beside_v` [V] is lost in the strings' cables already."""
    current_a, drop_a = highest_and_drop_a
    spare_v = max(wanted * lowest_v - beside_v, 0.0)
    named = [(f"{area:g} mm²", area) for area in METRIC_MM2] + [(f"AWG {name}", awg_mm2(name)) for name in AWG_NAMES]
    found = []
    for name, area in sorted(named, key=lambda one: one[1]):
        per_m_ohm = leg_ohm(1.0, area, conductor_c)
        per_m_v = drop_a * per_m_ohm
        drop_v = None if length_m is None else per_m_v * length_m
        found.append(
            Size(
                name=name,
                area_mm2=area,
                drop_v=drop_v,
                drop_share=None if drop_v is None else drop_v / lowest_v,
                lost_w=None if length_m is None else current_a**2 * per_m_ohm * length_m,
                keeps=None if drop_v is None else drop_v <= spare_v,
                longest_m=spare_v / per_m_v,
            )
        )
    return tuple(found)


def _fault(supply: Supply, bank: Bank) -> Fault:
    """Short-circuit currents of a bank and of all banks on its bus."""
    each = {one.id: string_fault_a(one) for one in supply.banks}
    of_banks = [
        None if amps is None else amps * one.parallel for one, amps in zip(supply.banks, each.values(), strict=True)
    ]
    known = [amps for amps in of_banks if amps is not None]
    own = each[bank.id]
    return Fault(
        string_a=own,
        bank_a=None if own is None else own * bank.parallel,
        bus_a=sum(known) if len(known) == len(of_banks) else None,
        known_a=sum(known),
        how=_fault_how(bank),
    )


def string_fault_a(bank: Bank) -> float | None:
    """Short of one string [A]: the higher of the stated one and that by 1 kHz; None if neither is known."""
    entered = bank.wiring
    if entered is None:
        return None
    found = [] if entered.fault_ka is None else [entered.fault_ka * A_PER_KA]
    if entered.cell_mohm is not None:
        found.append(highest_pack_v(bank) / (bank.series * entered.cell_mohm / MOHM_PER_OHM))
    return max(found, default=None)


def _fault_how(bank: Bank) -> str:
    entered = bank.wiring
    if entered is None or string_fault_a(bank) is None:
        return ""
    by_cells = (
        ""
        if entered.cell_mohm is None
        else (f"{highest_pack_v(bank):.4g} V ÷ ({bank.series} cells × {entered.cell_mohm:g} mΩ)")
    )
    stated = "" if entered.fault_ka is None else f"{entered.fault_ka:g} kA as stated"
    return f"the higher of {by_cells} and {stated}" if by_cells and stated else by_cells or stated
