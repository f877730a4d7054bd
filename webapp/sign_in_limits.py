"""How often a pass phrase may be tried: freely at first, then after waits that double, by address and by all together.

At the longest wait all addresses together have 105,000 tries a year. Somebody who guesses from many addresses keeps
others who are not signed in out as long; who is signed in, or sits at the machine itself, never waits.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address

FREE_EACH, FREE_ALL = 5, 20
"""Wrong tries before the first wait (judgement): of a thumb that slips; of a household whose phrase was changed."""
FIRST_WAIT_S = 5.0
LONGEST_EACH_S, LONGEST_ALL_S = 3600.0, 300.0
FORGOTTEN_S = 24 * 3600.0
"""After so long without a wrong try an address starts anew (judgement)."""
REMEMBERED = 256
"""Addresses kept in mind; of more, those that tried last. What all tried together is kept beside it."""


@dataclass(slots=True)
class _Tried:
    """Wrong tries of one address, or of all, and when the next is taken."""

    wrong: int = 0
    last_s: float = 0.0
    open_s: float = 0.0


class Tries:
    """Who tried how often.

    Parameters
    ----------
    clock_s : callable
        Returns seconds that never run backwards.
    """

    def __init__(self, clock_s: Callable[[], float]) -> None:
        self._clock_s = clock_s
        self._all = _Tried()
        self._each: OrderedDict[str, _Tried] = OrderedDict()

    def wait_s(self, address: str) -> float:
        """Return how long this address still has to wait before its next try."""
        now_s = self._clock_s()
        each = self._each.get(place(address), _Tried())
        return max(0.0, each.open_s - now_s, self._all.open_s - now_s)

    def went_wrong(self, address: str) -> None:
        """Count a wrong try."""
        key = place(address)
        each = self._each.setdefault(key, _Tried())
        self._each.move_to_end(key)
        while len(self._each) > REMEMBERED:
            self._each.popitem(last=False)
        self._count(each, FREE_EACH, LONGEST_EACH_S)
        self._count(self._all, FREE_ALL, LONGEST_ALL_S)

    def went_right(self, address: str) -> None:
        """Forget the wrong tries of an address that knew the pass phrase."""
        self._each.pop(place(address), None)

    def _count(self, tried: _Tried, free: int, longest_s: float) -> None:
        now_s = self._clock_s()
        if now_s - tried.last_s > FORGOTTEN_S:
            tried.wrong = 0
        tried.wrong += 1
        tried.last_s = now_s
        doublings = tried.wrong - free
        if doublings >= 0:
            tried.open_s = now_s + min(longest_s, FIRST_WAIT_S * 2.0 ** min(doublings, 20))


def place(address: str) -> str:
    """Return what counts as one address: of IPv6 the network of 64 bits, of which a device has them all.

    Examples
    --------
    >>> place("192.168.1.4"), place("fd00::1:2:3:4"), place("fd00::9")
    ('192.168.1.4', 'fd00::', 'fd00::')
    """
    try:
        found = ip_address(address)
    except ValueError:
        return "unknown"
    if isinstance(found, IPv6Address):
        return str(IPv6Address(int(found) >> 64 << 64))
    return str(found)
