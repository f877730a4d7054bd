"""The names and IPv4 addresses under which other devices of the network find this machine.

Nothing is asked of a network for it. Linux tells the address of each interface itself; elsewhere a datagram socket that
is connected, but never written to, names the address it would send from. Looking up one's own host name is no way: a
resolver that does not know it asks a name server. IPv6 is left out: such an address is often reachable from outside.
"""

from __future__ import annotations

import contextlib
import socket
import struct
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv4Address
from pathlib import Path

from webapp.hosts import own_name

ASK_ADDRESS = 0x8915
"""SIOCGIFADDR of linux/sockios.h: the address of an interface."""
ROUTES = Path("/proc/net/route")
FAR_OFF = ("192.0.2.1", "10.255.255.255", "172.31.255.255", "192.168.255.255")
"""Where nothing is ever sent: a documentation address (RFC 5737) and the last of each private network (RFC 1918)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharing:
    """How a start shares Greyspell with other devices.

    Parameters
    ----------
    port : int
        The port it listens at.
    """

    port: int

    def links(self) -> list[str]:
        """Return the address of this machine's start page, by number; the likeliest first."""
        return [f"http://{address}:{self.port}/" for address in own_addresses()]

    def named_links(self) -> list[str]:
        """Return the same by the names of this machine, which not every network knows."""
        return [f"http://{name}:{self.port}/" for name in own_names()]


def own_names(host_name: str | None = None) -> list[str]:
    """Return the names of this machine: as it calls itself, and as networks without a name server do.

    Examples
    --------
    >>> own_names("Croft.lan"), own_names("byre"), own_names("localhost"), own_names("no name")
    (['croft.lan', 'croft', 'croft.local'], ['byre', 'byre.local'], [], [])
    """
    name = own_name(socket.gethostname() if host_name is None else host_name) or ""
    short = name.partition(".")[0]
    if not short or short == "localhost":
        return []
    return list(dict.fromkeys((name, short, f"{short}.local")))


def own_addresses() -> list[str]:
    """Return the IPv4 addresses of this machine without loopback, that of the way out of the network first."""
    return ordered(_by_interface() if sys.platform == "linux" else _by_route())


def ordered(addresses: Iterable[str]) -> list[str]:
    """Return addresses that others can reach, each once.

    Examples
    --------
    >>> ordered(["127.0.0.1", "192.168.1.4", "0.0.0.0", "169.254.7.7", "192.168.1.4", "10.0.0.2"])
    ['192.168.1.4', '10.0.0.2', '169.254.7.7']
    """
    found = [one for one in map(IPv4Address, dict.fromkeys(addresses)) if not (one.is_loopback or one.is_unspecified)]
    return [str(one) for one in sorted(found, key=lambda one: one.is_link_local)]


def _by_interface() -> list[str]:
    """Ask Linux for the address of each interface, that of the default route first."""
    import fcntl

    outward = _outward()
    names = sorted((name for _, name in socket.if_nameindex()), key=lambda name: name not in outward)
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for name in names:
            with contextlib.suppress(OSError):
                answer = fcntl.ioctl(asking, ASK_ADDRESS, struct.pack("256s", name.encode()[:15]))
                found.append(socket.inet_ntoa(answer[20:24]))
    return found


def _outward() -> set[str]:
    """Return the interfaces that lead out of the network: those with a route to everywhere."""
    try:
        lines = ROUTES.read_text(encoding="ascii").splitlines()[1:]
    except OSError:
        return set()
    rows = [line.split() for line in lines]
    return {row[0] for row in rows if len(row) > 1 and row[1] == "00000000"}


def _by_route() -> list[str]:
    """Ask from which address each of a few networks would be written to."""
    found = []
    for address in FAR_OFF:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking, contextlib.suppress(OSError):
            asking.connect((address, 9))
            found.append(str(asking.getsockname()[0]))
    return found
