"""The page Other devices, and the addresses it shows."""

from __future__ import annotations

import re
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import Client, Clock, soup
from tests.web.qr_reading import modules, read
from webapp import addresses
from webapp.addresses import Sharing, own_addresses, own_names
from webapp.app import create_app
from webapp.pages.devices import QUIET_MODULES, qr_svg


@pytest.fixture
def shared(tmp_path: Path, house_file: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> Iterator[Client]:
    """The app as shared from a machine with two addresses and a name."""
    monkeypatch.setattr("webapp.addresses._by_interface", lambda: ["127.0.0.1", "192.168.1.4", "172.17.0.1"])
    monkeypatch.setattr("webapp.addresses._by_route", lambda: ["192.168.1.4", "172.17.0.1"])
    monkeypatch.setattr("socket.gethostname", lambda: "Byre")
    client = Client(create_app(tmp_path / "data", house_file, clock, sharing=Sharing(port=8437)))
    yield client
    client.close()


def test_without_sharing_the_page_says_how_to_begin(client: Client) -> None:
    response = client.get("/devices")
    assert "Only this machine can open Greyspell now." in response.text
    assert "python -m webapp --lan" in response.text
    assert "<svg" not in str(soup(response).main)
    assert "plain http" in response.text


def test_shared_it_shows_every_address_its_picture_and_how_to_stop(shared: Client) -> None:
    page = soup(shared.get("/devices"))
    assert page.main is not None
    links = [link["href"] for link in page.main.find_all("a", href=re.compile("^http"))]
    assert links == [
        "http://192.168.1.4:8437/", "http://172.17.0.1:8437/", "http://byre:8437/", "http://byre.local:8437/",
    ]  # fmt: skip
    told = page.main.get_text(" ", strip=True)
    assert "plain http" in told
    assert "without --lan" in told
    picture = page.find(attrs={"role": "img"})
    assert picture is not None
    assert picture["aria-label"] == "QR picture of http://192.168.1.4:8437/"
    drawn, border = modules(str(picture).replace("viewbox", "viewBox"))
    assert read(drawn) == "http://192.168.1.4:8437/"
    assert border == QUIET_MODULES


@pytest.mark.parametrize(
    "link",
    ["http://10.0.0.2:80/", "http://192.168.100.200:65535/", "http://byre.local:8437/", "http://[fd00::1]:8437/x"],
)
def test_a_picture_says_its_link(link: str) -> None:
    drawn, border = modules(qr_svg(link))
    assert read(drawn) == link
    assert border == 4  # ISO/IEC 18004: four modules of quiet zone


def test_names_of_the_machine_are_answered_when_shared(shared: Client) -> None:
    for host in ("byre:8437", "BYRE.local:8437"):
        assert shared.get("/devices", headers={"Host": host}).status_code == 303
    refused = shared.get("/devices", headers={"Host": "barn.local:8437"})
    assert refused.status_code == 403
    assert "python -m webapp --lan --allow-host barn.local" in refused.text


def test_a_machine_without_an_address_says_so(shared: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("_by_interface", "_by_route"):
        monkeypatch.setattr(f"webapp.addresses.{name}", list)
    assert "No address of this machine was found" in shared.get("/devices").text


def test_the_phrase_is_set_and_said_to_be(client: Client) -> None:
    assert "None is set yet" in client.get("/devices").text
    response = client.post("/devices/phrase", {"phrase": "five words of our own", "again": "five words of our own"})
    told = client.get(response.headers["Location"]).text
    assert "The pass phrase is set" in told
    assert "None is set yet" not in told
    assert "five words of our own<" not in told
    out = client.post("/sign-out/all", {})
    assert "Every device is signed out." in client.get(out.headers["Location"]).text


def test_own_addresses_are_addresses_of_this_machine() -> None:
    """The system binds a socket to no other address."""
    for address in own_addresses():
        with socket.socket() as one:
            one.bind((address, 0))
            assert one.getsockname()[0] == address
            assert not address.startswith("127.")


@pytest.mark.skipif(sys.platform != "linux", reason="reads what Linux tells of its interfaces")
def test_both_ways_to_find_addresses_agree() -> None:
    by_route = addresses.ordered(addresses._by_route())
    assert set(by_route) <= set(addresses.ordered(addresses._by_interface()))


@pytest.mark.skipif(sys.platform != "linux", reason="reads what Linux tells of its interfaces")
def test_the_way_out_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    routes = tmp_path / "route"
    routes.write_text(
        "Iface\tDestination\tGateway\ndocker0\t000011AC\t0\nwlan0\t00000000\t0101A8C0\n", encoding="ascii"
    )
    monkeypatch.setattr("webapp.addresses.ROUTES", routes)
    assert addresses._outward() == {"wlan0"}
    monkeypatch.setattr("webapp.addresses.ROUTES", tmp_path / "none")
    assert addresses._outward() == set()


def test_names_need_no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*args: object) -> None:
        raise AssertionError("a name server was asked")

    for name in ("getaddrinfo", "gethostbyname", "gethostbyname_ex", "getfqdn"):
        monkeypatch.setattr(socket, name, refuse)
    assert all(name == name.lower() for name in own_names())
