"""Story 4: may I charge the car, from Today, on a phone."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from tests.browser.conftest import Opener

ASK = "charge=85&sky=dull,dull,bright&at=2026-11-25%2018:00"
SMALL = (
    "() => [...document.querySelectorAll('.ask input:not([type=hidden]), .ask select, .ask button, summary, .press')]"
    ".filter(one => one.offsetParent && one.getBoundingClientRect().height < 43.5).map(one => one.outerHTML)"
)


def test_from_today_to_the_car_and_another_distance(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?{ASK}", viewport={"width": 360, "height": 740})
    block = page.locator("#within-car")
    block.scroll_into_view_if_needed()
    expect(block).to_contain_text("km")
    said = block.locator("p").inner_text()
    block.locator("a.press", has_text="Car and water").click()
    sentence = page.locator("#answer h1")
    expect(sentence).to_be_visible()
    before = sentence.inner_text()
    assert before.startswith("Yes") == (" may take all " in said)
    km = page.locator("#km")
    km.fill("12")
    km.press("End")
    km.press("ArrowLeft")
    km.press("5")
    expect(sentence).not_to_have_text(before)
    expect(page.locator("#answer dl.figures")).to_contain_text("152 km at")
    assert km.evaluate("one => [one === document.activeElement, one.value, one.selectionStart]") == [True, "152", 2]
    expect(page).to_have_url(re.compile("km=152"))
    for closed in page.locator(".ask details:not([open]) > summary").all():
        closed.click()
    assert page.locator("#at").is_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.evaluate(SMALL) == []
