"""What the first current would be if the leads of two banks were clipped together, held against what they may carry.

Volts are of whole packs, ohm, A, charge a share of tested Ah. The current is the difference of the rested volts over
all the resistance in its way. The resistance of the cells' curves is that of minutes: the one of the first instant is
smaller, so a current worked out with it is the least that flows where leads and contacts are no worse than said: that
it is within a limit proves nothing, and only equal volts are no stop then. With a resistance typed by hand, here or in
the wiring of the bank, for both banks nothing of the kind is claimed. Rested volts are those of the curve: with
hysteresis, or a charge that was misread, the difference may be larger or smaller.
Not modelled: the inductance of the leads, how the current falls afterwards, strings of one bank that differ.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

import numpy as np

from engine.cells.chemistry import at
from engine.fields import Quantity, check, quantity
from engine.house.bank import Bank
from engine.house.bus import are_unlike, clashes
from engine.house.cold import acid_frozen, allowed_charge_c, takes_none
from engine.house.inverter import Inverter

LEADS_MOHM = 4.0
"""Two leads of a few metres with their lugs, there and back (typical, from memory)."""
EQUAL_V = 0.05
"""Pack volts this close are called equal: what a hand meter tells apart at 50 V (judgement)."""
MILLI = 1e-3
CELL_MOHM = Quantity(label="Resistance of one cell", unit="mΩ", low=0.01, high=1000.0, optional=True)
"""What may be typed for a cell's resistance in place of its curve's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Leads:
    """The leads, and the resistance of one cell [mohm] by bank id where it was typed."""

    leads_mohm: float = quantity(
        "Leads and contacts", "mΩ", 0.1, 1000, default=LEADS_MOHM, hint="Both leads together; 4 mΩ is usual"
    )
    cell_mohm: Mapping[str, float]

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What a bank, or each of its strings, may take or give, and what would flow [A]."""

    bank: str
    each_string: bool
    taking: bool
    most_a: float
    amps: float

    @property
    def passed(self) -> bool:
        """Whether more would flow than may."""
        return self.amps > self.most_a


@dataclass(frozen=True, slots=True, kw_only=True)
class Joining:
    """Two banks whose leads touch.

    Attributes
    ----------
    level : str
        ``stop`` or ``check``.
    at_least : bool
        Whether the current is the least that flows: the resistance of some cells is their curve's.
    unsure : bool
        Whether how much more than that flows is not known and matters: the volts are not equal.
    unlike, too_cold : bool
        Whether the banks differ in kind or cells in series; whether the lower one is outside the temperatures at which
        it may be charged or frozen, or the higher one under those at which it may be discharged.
    clashes : tuple of str
        Why they may not share the bus; none where nothing was found.
    even_soc : (float, float)
        Charges of the spare whose rested volts are within `EQUAL_V` of those of the bank [-]; nothing where none are.
    """

    level: str
    spare_v: float
    bank_v: float
    difference_v: float
    spare_ohm: float
    bank_ohm: float
    leads_ohm: float
    ohm: float
    amps: float
    at_least: bool
    unsure: bool
    giver: str
    taker: str
    limits: tuple[Limit, ...]
    unlike: bool
    too_cold: bool
    clashes: tuple[str, ...]
    even_soc: tuple[float, float] | None


def joining(spare: Bank, spare_soc: float, bank: Bank, bank_soc: float, inverter: Inverter, leads: Leads) -> Joining:
    """Work out the first current between two banks joined without anything that limits it.

    Parameters
    ----------
    spare_soc, bank_soc : float
        Charge of each [-].
    inverter : Inverter
        Whose bus the spare would be joined to.
    """
    spare_v, bank_v = rested_v(spare, spare_soc), rested_v(bank, bank_soc)
    known = [_known_mohm(one, leads) for one in (spare, bank)]
    spare_ohm, bank_ohm = pack_ohm(spare, spare_soc, known[0]), pack_ohm(bank, bank_soc, known[1])
    ohm = spare_ohm + bank_ohm + leads.leads_mohm * MILLI
    difference_v = spare_v - bank_v
    amps = abs(difference_v) / ohm
    (giver, _), (taker, taker_soc) = sorted(
        [(spare, spare_soc), (bank, bank_soc)], key=lambda one: rested_v(*one), reverse=True
    )
    limits = (*_limits(taker, amps, taking=True), *_limits(giver, amps, taking=False))
    unlike = are_unlike((bank, spare))
    too_cold = takes_none(taker) or acid_frozen(taker, taker_soc) or _gives_none(giver)
    at_least = None in known
    unsure = at_least and abs(difference_v) > EQUAL_V
    stop = unlike or too_cold or unsure or any(limit.passed for limit in limits)
    return Joining(
        level="stop" if stop else "check",
        spare_v=spare_v,
        bank_v=bank_v,
        difference_v=difference_v,
        spare_ohm=spare_ohm,
        bank_ohm=bank_ohm,
        leads_ohm=leads.leads_mohm * MILLI,
        ohm=ohm,
        amps=amps,
        at_least=at_least,
        unsure=unsure,
        giver=giver.name,
        taker=taker.name,
        limits=limits,
        unlike=unlike,
        too_cold=too_cold,
        clashes=tuple(clash.text for clash in clashes((bank, spare), inverter)),
        even_soc=None if unlike else even_soc(spare, bank_v),
    )


def _known_mohm(bank: Bank, leads: Leads) -> float | None:
    """Resistance of one cell that was typed, for these leads or for the wiring of the bank [mohm]."""
    typed = leads.cell_mohm.get(bank.id)
    return typed if typed is not None or bank.wiring is None else bank.wiring.cell_mohm


def rested_v(bank: Bank, soc: float) -> float:
    """Rested volts of a whole bank [V]."""
    return bank.series * at(bank.table.ocv_v, soc)


def cell_ohm(bank: Bank, soc: float) -> float:
    """Resistance of one cell of a bank as minutes see it, from its curve at its temperature [ohm]."""
    return at(bank.table.r_fast, soc) * bank.parallel / bank.ah


def pack_ohm(bank: Bank, soc: float, cell_mohm: float | None = None) -> float:
    """Resistance of a whole bank [ohm]: of the typed one of a cell, else of its curve.

    Raises
    ------
    InputError
        If the typed one is outside its limits.
    """
    one = cell_ohm(bank, soc) if cell_mohm is None else cell_mohm * MILLI
    return bank.series * one / bank.parallel


def even_soc(bank: Bank, volts: float) -> tuple[float, float] | None:
    """Lowest and highest charge of a bank whose rested volts are within `EQUAL_V` of `volts`; None where none are."""
    pack_v = bank.series * np.array(bank.table.ocv_v)
    near = np.flatnonzero(np.abs(pack_v - volts) <= EQUAL_V)
    if not near.size:
        return None
    return float(near[0]) / (pack_v.size - 1), float(near[-1]) / (pack_v.size - 1)


def _gives_none(bank: Bank) -> bool:
    return bank.cell_c < bank.cell.discharge_min_c


def _limits(bank: Bank, amps: float, *, taking: bool) -> tuple[Limit, ...]:
    """What each string of a bank and the bank as a whole may carry."""
    string_ah = bank.ah / bank.parallel
    if taking:
        string_a = 0.0 if takes_none(bank) else bank.cell.charge_c_max * string_ah
        whole_a = allowed_charge_c(bank, bank.cell_c) * bank.ah
    else:
        string_a = 0.0 if _gives_none(bank) else bank.cell.discharge_c_max * string_ah
        whole_a = inf if bank.board is None else bank.board.current_limit_a
    found = [Limit(bank=bank.name, each_string=True, taking=taking, most_a=string_a, amps=amps / bank.parallel)]
    if whole_a < string_a * bank.parallel:
        found.append(Limit(bank=bank.name, each_string=False, taking=taking, most_a=whole_a, amps=amps))
    return tuple(found)
