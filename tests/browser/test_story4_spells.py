"""Story: how bad can it get here; the days asked about change while the page stays, and go on to Bank size."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

SENTENCE = "#answer [role=status] h1"
Opener = Callable[..., Page]
PDFTOTEXT = shutil.which("pdftotext")


def test_the_answer_follows_the_choices(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/spells")
    expect(page.locator(SENTENCE)).to_have_text(re.compile(r"worst week of 1 year in 10 gives .* a day, a"))
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    page.locator("#days").focus()
    page.locator("#days").select_option("3")
    expect(page.locator(SENTENCE)).to_contain_text("worst three days of 1 year in 10 give ")
    assert page.evaluate("document.activeElement.id") == "days"
    page.locator("#skies").select_option("monsoon")
    expect(page.locator(SENTENCE)).to_contain_text("Under the sky of Monsoon")
    expect(page).to_have_url(re.compile(r"skies=monsoon.*days=3"))
    for plot in ("#worst-plot", "#months-plot", "#load-plot", "#facing-plot"):
        expect(page.locator(f"{plot} svg").first).to_be_visible()


def test_the_days_go_on_to_bank_size(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/spells?days=3")
    page.locator(".asking").get_by_role("link", name="Bank size").click()
    expect(page).to_have_url(re.compile(r"/size\?sky=made_3d_1in10"))
    expect(page.locator("#sky")).to_have_value("made_3d_1in10")
    expect(page.locator(SENTENCE)).to_be_visible()


def test_it_fits_a_phone(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/spells", viewport={"width": 360, "height": 740})
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    for link in page.locator(".windows a").all()[:3]:
        box = link.bounding_box()
        assert box is not None
        assert box["height"] >= 44


@pytest.mark.skipif(PDFTOTEXT is None, reason="no pdftotext on this machine: words of the PDF left out")
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_its_paper_is_used_from_the_first_page_on(open_page: Opener, site: str, tmp_path: Path, paper: str) -> None:
    assert PDFTOTEXT is not None
    page = open_page(f"{site}/spells")
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    page.pdf(path=tmp_path / "spells.pdf", format=paper, print_background=True)
    command = [PDFTOTEXT, "-layout", str(tmp_path / "spells.pdf"), "-"]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    pages = [" ".join(part.split()) for part in told.split("\f") if part.strip()]
    # the chart of the windows stands under their table, not on a page of its own
    assert "mean of those days" in pages[0]
    assert "a typical year" in pages[0].split("mean of those days")[1]
    assert len(pages) <= 4
    assert "Ask" not in " ".join(pages)
