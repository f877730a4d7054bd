"""Story 7, charge volts and the inverter's window: sodium-ion in 16s, from the stop to a setting that keeps within."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

STORY = Path(__file__).resolve().parent.parent / "households" / "story7.json"
Opener = Callable[..., Page]


@pytest.fixture
def address(serve: Callable[..., str]) -> str:
    """A server with sodium-ion, 16 in series, charged to 3.95 V per cell, on an inverter that ends at 60 V."""
    return f"{serve(STORY)}/charge"


def shares(page: Page) -> tuple[int, int, int]:
    said = page.locator("#answer").inner_text()
    found = re.search(r"(\d+) % of its charge lies below the [\d.]+ V cut-off.*?(\d+) % inside.*?(\d+) % above", said)
    assert found is not None, said
    below, inside, above = (int(share) for share in found.groups())
    return below, inside, above


def test_a_stop_and_the_setting_that_cures_it(open_page: Opener, address: str) -> None:
    page = open_page(address)
    stop = page.locator("#answer .note.stop")
    expect(stop).to_contain_text("63.2 V")
    expect(stop).to_contain_text("60 V")
    stop_box, sentence_box = stop.bounding_box(), page.locator(".sentence").bounding_box()
    assert stop_box is not None
    assert sentence_box is not None
    assert stop_box["y"] < sentence_box["y"]
    stop.get_by_role("button").click()
    expect(page.locator(".saved")).to_contain_text("Saved")
    expect(page.locator("#answer .note.stop")).to_have_count(0)
    expect(page.locator(".sentence")).to_contain_text("Ended at 3.75 V per cell, 60.0 V for the pack")
    assert sum(shares(page)) == 100
    expect(page.locator("#answer")).to_contain_text(re.compile(r"\d+ % would lie below 40 V"))
    expect(page.locator("#answer")).to_contain_text(re.compile(r"\d+ % above the setting of 60\.0 V"))


def test_a_lower_cut_off_never_leaves_less(open_page: Opener, address: str) -> None:
    page = open_page(f"{address}?volts=3.75")
    before = shares(page)
    page.goto(address.replace("/charge", "/inverter"))
    page.get_by_text("Change this inverter").first.click()
    page.locator("input[name=dc_min_v]").first.fill("40")
    page.get_by_role("button", name="Save").first.click()
    page.goto(f"{address}?volts=3.75")
    after = shares(page)
    assert after[0] < before[0]
    assert after[1] > before[1]


def test_hold_and_volts_answer_live(open_page: Opener, address: str) -> None:
    page = open_page(f"{address}?volts=3.6&hold=yes&charge_a=100")
    expect(page.locator(".sentence")).to_contain_text("57.6 V for the pack")
    held = float(page.locator(".sentence").inner_text().split("filled to ")[1].split()[0])
    page.locator("#hold").select_option("no")
    expect(page.locator("#answer [role=status]")).to_contain_text("without a hold")
    assert float(page.locator(".sentence").inner_text().split("filled to ")[1].split()[0]) < held
    page.locator("#volts").fill("3.5")
    expect(page.locator("#answer [role=status]")).to_contain_text("56.0 V for the pack")
    assert page.evaluate("document.activeElement.id") == "volts"
    expect(page).to_have_url(re.compile(r"volts=3\.5"))


def test_pack_volts_are_asked_about(open_page: Opener, address: str) -> None:
    page = open_page(address)
    page.locator("#volts").fill("58.4")
    page.locator("#hold").focus()
    remedy = page.locator("#problems .note.check a")
    expect(remedy).to_have_text("Ask about 3.65 V per cell")
    remedy.click()
    expect(page.locator(".sentence")).to_contain_text("Ended at 3.65 V per cell, 58.4 V for the pack")


def test_the_stop_is_printed(open_page: Opener, address: str) -> None:
    page = open_page(address)
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    page.emulate_media(media="print")
    expect(page.locator("#answer .note.stop")).to_be_visible()
    expect(page.locator("#answer .note.stop button")).to_be_hidden()
    expect(page.locator(".takeaway")).to_be_hidden()
    assert page.locator("#answer .note.stop").bounding_box()["y"] < page.locator(".sentence").bounding_box()["y"]  # type: ignore[index]


def test_what_is_kept_opens_without_greyspell(open_page: Opener, address: str, tmp_path: Path) -> None:
    page = open_page(f"{address}?volts=3.75&hold=no")
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    with page.expect_download() as picture:
        page.get_by_role("button", name="Save the chart as SVG").click()
    assert picture.value.suggested_filename == "charge-volts.svg"
    drawing = Path(picture.value.path()).read_text(encoding="utf-8")
    assert drawing.startswith("<svg")
    assert "set: 3.75 V" in drawing
    with page.expect_download() as table:
        page.get_by_role("link", name="Save the table as CSV").click()
    rows = list(csv.reader(Path(table.value.path()).read_text(encoding="utf-8-sig").splitlines()))
    assert len(rows) > 200
    with page.expect_download() as whole:
        page.get_by_role("link", name="Save as one file that opens anywhere").click()
    kept = tmp_path / "kept.html"
    whole.value.save_as(kept)
    context = page.context.browser.new_context(offline=True)  # type: ignore[union-attr]
    alone, faults, asked = context.new_page(), [], []
    alone.on("pageerror", lambda error: faults.append(str(error)))
    alone.on("console", lambda said: faults.append(said.text) if said.type in ("error", "warning") else None)
    alone.on("request", lambda request: asked.append(request.url))
    alone.goto(kept.as_uri())
    alone.wait_for_selector("html[data-charts=drawn]", state="attached")
    expect(alone.locator(".sentence")).to_contain_text("60.0 V for the pack")
    assert alone.locator(".plot.drawn").count() == 2
    assert (faults, asked) == ([], [kept.as_uri()])
    context.close()


def test_without_javascript(open_page: Opener, address: str) -> None:
    page = open_page(address, java_script_enabled=False)
    page.locator("#volts").fill("3.7")
    page.locator("#hold").select_option("no")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".sentence")).to_contain_text("59.2 V for the pack, without a hold")
    page.get_by_role("button", name="Set this on the bank").click()
    expect(page.locator(".saved")).to_contain_text("charge ends at 3.7 V per cell, not held")


def test_on_a_phone_nothing_is_cut_and_everything_can_be_pressed(open_page: Opener, address: str) -> None:
    page = open_page(f"{address}?low=20&high=80", viewport={"width": 360, "height": 740})
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    pressed = "main a, main button, main select, main summary, main input:not([type=hidden])"
    low = page.locator(pressed).evaluate_all(
        "all => all.filter(e => e.checkVisibility() && e.getBoundingClientRect().height < 43.5).map(e => e.outerHTML)"
    )
    assert low == []
    for figure in ("reached", "span"):
        cut = page.locator(f"#{figure} .annotation-text-g").evaluate_all(
            "all => all.filter(e => e.getBoundingClientRect().right > innerWidth).map(e => e.textContent)"
        )
        assert cut == []
