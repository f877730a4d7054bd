"""Under which names this server answers, and whether a request was made on this machine itself."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address

from starlette.datastructures import Headers

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
SHOWN = 100
"""Characters of a refused host that the page about it shows."""
_HOST = re.compile(r"(\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+)(?::[0-9]{1,5})?")
_NAME = re.compile(r"[A-Za-z0-9]([A-Za-z0-9._-]{0,251}[A-Za-z0-9])?|\[[0-9A-Fa-f:.]+\]")
FORWARDED = ("forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-real-ip")
"""Headers by which something in between says that it passes another machine's request on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hosts:
    """The names a server answers to beside those of loopback.

    Parameters
    ----------
    names : frozenset of str
        In lower case, without port.
    lan : bool
        Whether other devices may ask: the address at which a request came in is then a name as well. A page from
        elsewhere can point its own *name* here, never an address.
    """

    names: frozenset[str] = frozenset()
    lan: bool = False

    def answers_to(self, host: str, server: str) -> bool:
        """Tell whether a Host is ours, where the request came in at the address `server`."""
        name = host_name(host)
        return name in LOOPBACK or name in self.names or (self.lan and name == server and _is_address(name))

    def remedy(self, host: str) -> str:
        """Say what was refused, and what to do where it is a name of this machine after all."""
        name = host_name(host)
        own = ", ".join((*LOOPBACK, *sorted(self.names)))
        said = (
            f"The browser asked for “{host[:SHOWN] or 'no host'}”, but Greyspell answers only as {own}. Open it at "
            "http://127.0.0.1 with the port it printed at start."
        )
        if not name:
            return said
        start = f"python -m webapp {'--lan ' if self.lan else ''}--allow-host {name[:SHOWN]}"
        return f"{said} If that is a name of this machine in your own network, start it with: {start}"


def host_name(host: str) -> str:
    """Return a Host value in lower case without its port; nothing where it is no host at all.

    Examples
    --------
    >>> host_name("LocalHost:8000"), host_name("[::1]:80"), host_name("127.0.0.1")
    ('localhost', '[::1]', '127.0.0.1')
    >>> host_name("127.0.0.1:80@elsewhere.example"), host_name("a b")
    ('', '')
    """
    found = _HOST.fullmatch(host)
    return found[1].lower() if found else ""


def own_name(text: str) -> str | None:
    """Return a name somebody allows, as it is compared; None where it is no name.

    Examples
    --------
    >>> own_name("Croft.Example"), own_name("croft.example:8437"), own_name("http://croft")
    ('croft.example', 'croft.example', None)
    """
    name = host_name(text)
    return name if _NAME.fullmatch(name) else None


def allowed(texts: Iterable[str]) -> frozenset[str]:
    """Return the names of `--allow-host`.

    Raises
    ------
    ValueError
        If one is no name of a host, as a sentence.
    """
    names = {text: own_name(text) for text in texts}
    for text, name in names.items():
        if name is None:
            raise ValueError(f"--allow-host takes the name or address of a host, such as croft.example; got “{text}”.")
    return frozenset(filter(None, names.values()))


def _is_address(text: str) -> bool:
    try:
        ip_address(text)
    except ValueError:
        return False
    return True


def is_loopback_name(host: str) -> bool:
    """Tell whether a Host is one of the names of loopback."""
    return host_name(host) in LOOPBACK


def is_loopback_address(address: str) -> bool:
    """Tell whether an address of a socket is this machine's loopback.

    Examples
    --------
    >>> is_loopback_address("127.0.0.1"), is_loopback_address("::ffff:127.0.0.1"), is_loopback_address("192.168.1.4")
    (True, True, False)
    >>> is_loopback_address("localhost")
    False
    """
    try:
        found = ip_address(address)
    except ValueError:
        return False
    mapped = found.ipv4_mapped if isinstance(found, IPv6Address) else None
    return (mapped or found).is_loopback


def made_here(client: str, headers: Headers) -> bool:
    """Tell whether a request was made on this machine itself: by whom it came *and* by what name.

    The socket says who asks, which nobody can make up; the Host alone could be typed by anyone in the network. Where
    something in between says that it passes another machine's request on, it was not made here.
    """
    passed_on = any(name in headers for name in FORWARDED)
    return is_loopback_address(client) and is_loopback_name(headers.get("host", "")) and not passed_on
