"""A generator entered in the browser, and Today with it: on a phone, live, its line told apart without colour."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

HOUSEHOLDS = Path(__file__).resolve().parent.parent / "households"
Opener = Callable[..., Page]
Server = Callable[..., str]
TYPED = {
    "name": "Red engine",
    "rated_w": "3000",
    "charger_w": "2000",
    "full_l_per_h": "1,2",
    "idle_l_per_h": "0,4",
    "start_soc": "50",
    "stop_soc": "80",
}


def test_it_is_entered_and_stands_beside_the_hours(open_page: Opener, serve: Server) -> None:
    site = serve(HOUSEHOLDS / "h.json")
    page = open_page(f"{site}/inverter", viewport={"width": 360, "height": 740})
    page.locator("#add-generator summary").click()
    for name, text in TYPED.items():
        page.locator(f"#add-generator-{name}").fill(text)
    page.get_by_role("button", name="Add this generator").click()
    expect(page.locator("#generator-red-engine")).to_contain_text("somebody starts it")
    expect(page.locator(".cautions")).to_contain_text("carbon monoxide")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360

    page.goto(f"{site}/today?charge=80&sky=none")
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    expect(page.locator("#answer")).to_contain_text("Red engine first starts in 12 hours")
    lines = page.evaluate(
        "() => document.querySelector('.plot').data.filter(t => t.hovertemplate).map(t => [t.name, t.line.dash])"
    )
    assert len({dash for _, dash in lines}) == len(lines) == 3
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.locator("#charge").fill("70")
    expect(page.locator("#answer")).to_contain_text("Red engine first starts in 8 hours")
