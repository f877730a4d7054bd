"""Story 3: from Today to the generator's runs, on a phone."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import expect

from tests.browser.conftest import Opener
from tests.web.test_generator import household_h

ASK = "charge=50&sky=none&at=2026-11-25%2018:00"


def test_the_start_moves_with_the_charge_and_fits_a_phone(
    serve: Callable[..., str], open_page: Opener, tmp_path: Path
) -> None:
    house = tmp_path / "house.json"
    house.write_text(json.dumps(household_h()), encoding="utf-8")
    site = serve(house)
    page = open_page(f"{site}/today?{ASK}", viewport={"width": 360, "height": 740})
    page.locator("#within-run a.press", has_text="Generator run").click()
    sentence = page.locator("h1.sentence")
    expect(sentence).to_contain_text("start Red engine")
    before = sentence.inner_text()
    page.locator("#charge").fill("70")
    expect(sentence).not_to_have_text(before)
    assert page.locator("#charge").evaluate("one => one === document.activeElement && one.selectionStart === 2")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    small = page.evaluate(
        "() => [...document.querySelectorAll('.ask input:not([type=hidden]), .ask select, .ask button, .ask summary')]"
        ".filter(one => one.offsetParent && one.getBoundingClientRect().height < 43.5).length"
    )
    assert small == 0
    assert page.locator("table.runs tbody tr").count() > 0
