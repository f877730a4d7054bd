"""Story 4: may I charge the car, from Today, on a phone."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.conftest import Opener

ASK = "charge=85&sky=dull,dull,bright&at=2026-11-25%2018:00"


def test_from_today_to_the_car_and_another_distance(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?{ASK}", viewport={"width": 360, "height": 740})
    page.locator("#within-car a.press", has_text="Car and water").click()
    sentence = page.locator("#answer h1")
    expect(sentence).to_be_visible()
    before = sentence.inner_text()
    page.locator("#km").fill("120")
    expect(sentence).not_to_have_text(before)
    assert page.locator("#km").evaluate("one => one === document.activeElement && one.selectionStart === 3")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    small = page.evaluate(
        "() => [...document.querySelectorAll('.ask input:not([type=hidden]), .ask select, .ask button, .ask summary')]"
        ".filter(one => one.offsetParent && one.getBoundingClientRect().height < 43.5).length"
    )
    assert small == 0
