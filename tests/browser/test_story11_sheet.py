"""Story 11: the sheet on A4 and Letter. Nothing cut or split, heads repeated, nothing to press, date and version on
each page, light from a dark theme, readable in grey. Words of the PDF are read with pdftotext where it is found."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from webapp import __version__

Opener = Callable[..., Page]

PDFTOTEXT = shutil.which("pdftotext")
QUESTION = "/sheet?charge=60&sky=dark,dark,dull&at=2026-11-25T18:00"
MM_PX = 96 / 25.4
PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGINS_MM = (12.0 + 15.0, 14.0 + 14.0)
"""Of print.css, above and below, left and right; the first test holds them to it."""

MEASURED = ".sheet figure, .sheet table, .sheet .plot svg.main-svg, .sheet .figures, .sheet .note"
BOXES = """selector => [...document.querySelectorAll(selector)]
  .map(e => [e, e.getBoundingClientRect()]).filter(([, r]) => r.width)
  .map(([e, r]) => ({
    tag: e.tagName.toLowerCase(), html: e.outerHTML.slice(0, 90), left: r.left, right: r.right, height: r.height,
    kept: getComputedStyle(e).breakInside,
  }))"""
SHOWN = """selector => [...document.querySelectorAll(selector)]
  .filter(e => [...e.getClientRects()].some(r => r.width && r.height)).map(e => e.outerHTML.slice(0, 90))"""
STYLE = """([selector, name]) => {
  const found = [...document.querySelectorAll(selector)];
  return [...new Set(found.map(e => getComputedStyle(e)[name]))];
}"""
ENTRIES = ("Latitude", "54.2 degrees", "Restart volts", "Self-discharge a month", "typical, from memory", "Seen by")


def printable_px(paper: str) -> tuple[int, int]:
    """Width and height inside the margins [px]."""
    width_mm, height_mm = PAPER_MM[paper]
    return int((width_mm - MARGINS_MM[1]) * MM_PX), int((height_mm - MARGINS_MM[0]) * MM_PX)


def on_paper(open_page: Opener, site: str, paper: str, path: str = QUESTION, **options: Any) -> Page:
    """The sheet as print media shows it on a paper."""
    width, height = printable_px(paper)
    page = open_page(site + path, viewport={"width": width, "height": height}, **options)
    page.wait_for_selector("html[data-charts=drawn]")
    page.emulate_media(media="print")
    return page


def pdf_of(page: Page, paper: str, folder: Path) -> Path:
    """Print to a file."""
    path = folder / f"{paper}.pdf"
    page.pdf(path=path, format=paper, print_background=True)
    return path


def pages_of(pdf: Path) -> int:
    """Count the pages of a PDF from its page objects."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf.read_bytes()))


def words_of(pdf: Path, number: int) -> str:
    """The text of one page."""
    assert PDFTOTEXT is not None
    command = [PDFTOTEXT, "-f", str(number), "-l", str(number), "-layout", str(pdf), "-"]
    return " ".join(subprocess.run(command, capture_output=True, text=True, check=True).stdout.split())


def contrast_on_white(colour: str) -> float:
    """Contrast of an rgb() colour on white (WCAG 2.2, relative luminance)."""
    shares = [int(part) / 255.0 for part in re.findall(r"\d+", colour)[:3]]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in shares)
    return 1.05 / (0.2126 * red + 0.7152 * green + 0.0722 * blue + 0.05)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_figure_or_table_is_cut(open_page: Opener, site: str, paper: str) -> None:
    page = on_paper(open_page, site, paper)
    css = page.evaluate("async () => (await fetch(document.querySelector('link[media=print]').href)).text()")
    assert "margin: 12mm 14mm 15mm" in css
    assert "size:" not in css.split("@page")[1].split(":root")[0].replace("font-size:", "")
    width, height = printable_px(paper)
    boxes = page.evaluate(BOXES, MEASURED)
    assert {box["tag"] for box in boxes} == {"figure", "table", "svg", "dl", "div"}
    for box in boxes:
        assert box["left"] >= -0.5, box
        assert box["right"] <= width + 0.5, box
        if box["kept"] == "avoid":
            assert box["height"] <= height, box
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_takes_a_handful_of_pages(open_page: Opener, site: str, paper: str, tmp_path: Path) -> None:
    pdf = pdf_of(on_paper(open_page, site, paper), paper, tmp_path)
    assert 2 <= pages_of(pdf) <= 8


@pytest.mark.skipif(PDFTOTEXT is None, reason="no pdftotext on this machine: words of the PDF left out")
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_what_a_reader_needs_stands_on_the_first_three(
    open_page: Opener, site: str, paper: str, tmp_path: Path
) -> None:
    pdf = pdf_of(on_paper(open_page, site, paper), paper, tmp_path)
    pages = [words_of(pdf, number) for number in range(1, pages_of(pdf) + 1)]
    annex = next(number for number, words in enumerate(pages) if words.startswith("Annex:"))
    assert annex <= 3
    front = " ".join(pages[:annex])
    for words in ("How long it lasts", "Its risk:", "Which cells", "What to set", "Cables, fuses", "Seen by"):
        assert words in front, words
    assert "Everything that was entered" not in front


@pytest.mark.skipif(PDFTOTEXT is None, reason="no pdftotext on this machine: words of the PDF left out")
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_date_version_and_page_stand_on_each_page(open_page: Opener, site: str, paper: str, tmp_path: Path) -> None:
    page = on_paper(open_page, site, paper)
    made = page.evaluate("document.documentElement.dataset.foot").split(" · ")[1]
    pdf = pdf_of(page, paper, tmp_path)
    count = pages_of(pdf)
    every = [words_of(pdf, number) for number in range(1, count + 1)]
    for number, words in enumerate(every, 1):
        assert "Skerry Rise (example)" in words
        assert made in words
        assert "version 1, document" in words
        assert f"Greyspell {__version__}" in words
        assert f"page {number} of {count}" in words
    whole = " ".join(every)
    for words in ENTRIES:
        assert words in whole
    for words in ("Work it out", "Undo", "Pages", "The same as JSON"):
        assert words not in whole


@pytest.mark.skipif(PDFTOTEXT is None, reason="no pdftotext on this machine: words of the PDF left out")
def test_a_head_is_repeated_where_a_table_goes_on(open_page: Opener, site: str, tmp_path: Path) -> None:
    # A table longer than what is left of its page: the spells of the method page, printed with everything unfolded.
    page = on_paper(open_page, site, "A4", "/sheet?charge=60")
    page.goto(site + "/method")
    pdf = pdf_of(page, "A4", tmp_path)
    heads = [number for number in range(1, pages_of(pdf) + 1) if "Station, last" in words_of(pdf, number)]
    assert len(heads) >= 2


def test_rows_and_figures_are_kept_whole_and_heads_repeat(open_page: Opener, site: str) -> None:
    page = on_paper(open_page, site, "A4")
    assert page.evaluate(STYLE, [".sheet tr", "breakInside"]) == ["avoid"]
    assert page.evaluate(STYLE, [".sheet figure", "breakInside"]) == ["avoid"]
    assert page.evaluate(STYLE, [".sheet thead", "display"]) in (["table-header-group"], ["table-header-group", "none"])
    assert page.evaluate(STYLE, [".sheet .wide thead", "display"]) == ["table-header-group"]


def test_nothing_on_paper_can_be_pressed_or_is_folded(open_page: Opener, site: str) -> None:
    page = on_paper(open_page, site, "A4")
    assert page.evaluate(SHOWN, "button, .button, nav, form, input, select, summary, .modebar, .skip, .menu") == []
    assert page.locator(".sheet details").count() == 0
    tables = page.locator(".sheet table").count()
    assert len(page.evaluate(SHOWN, ".sheet table")) == tables > 10


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_prints_black_on_white_from_either_theme(open_page: Opener, site: str, scheme: str) -> None:
    page = on_paper(open_page, site, "A4", color_scheme=scheme)
    assert page.evaluate(STYLE, ["body", "backgroundColor"]) == ["rgb(255, 255, 255)"]
    assert page.evaluate(STYLE, [".sheet", "backgroundColor"]) == ["rgb(255, 255, 255)"]
    words = ".sheet h1, .sheet h2, .sheet .sentence, .sheet tbody th"
    assert page.evaluate(STYLE, [words, "color"]) == ["rgb(0, 0, 0)"]
    ink = page.evaluate(STYLE, [".sheet .plot .annotation-text", "fill"])
    assert ink
    assert all(contrast_on_white(colour) >= 4.5 for colour in ink)


def test_it_is_read_without_colour(open_page: Opener, site: str) -> None:
    page = on_paper(open_page, site, "A4")
    names = page.evaluate("[...document.querySelectorAll('#week-chart .annotation-text')].map(e => e.textContent)")
    assert sorted(names) == ["LFP", "Lead-acid", "NMC", "Sodium-ion"]
    lines = page.evaluate(
        """[...document.querySelectorAll('#week-chart .scatter path.js-line')].map(e => {
             const s = getComputedStyle(e); return s.strokeDasharray + '/' + s.strokeWidth })"""
    )
    assert len(lines) == len(set(lines)) == 4
    assert "reserve 45 %" in page.inner_text("#charge-1 .plot").replace("\u00a0", " ")
    assert page.evaluate(SHOWN, "#sheet-week table") != []


def test_its_numbers_are_there_without_a_script(open_page: Opener, site: str) -> None:
    page = open_page(site + QUESTION, java_script_enabled=False)
    page.emulate_media(media="print")
    assert page.locator(".clock tbody tr").first.is_visible()
    assert page.locator("#sheet-week table tbody tr").count() == 4
    assert page.locator("#sheet-week table").is_visible()


@pytest.mark.parametrize("path", [QUESTION, "/method"])
def test_it_fits_a_phone(open_page: Opener, site: str, path: str) -> None:
    page = open_page(site + path, viewport={"width": 360, "height": 740})
    page.wait_for_load_state("networkidle")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    small = page.evaluate(
        """[...document.querySelectorAll('main summary, main .contents a, main button, main select, main input')]
             .map(e => [e.outerHTML.slice(0, 60), e.getBoundingClientRect()])
             .filter(([, r]) => r.width && r.height < 43.5).map(([html]) => html)"""
    )
    assert small == []


@pytest.mark.skipif(PDFTOTEXT is None, reason="no pdftotext on this machine: words of the PDF left out")
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_heading_is_left_alone_at_the_foot(open_page: Opener, site: str, paper: str, tmp_path: Path) -> None:
    pdf = pdf_of(on_paper(open_page, site, paper), paper, tmp_path)
    pages = [words_of(pdf, number) for number in range(1, pages_of(pdf) + 1)]
    for heading, first in (("What was taken for granted", "typical, from memory"), ("The rules it", "AS/NZS 5139")):
        assert any(first in page.split(heading)[1] for page in pages if heading in page), heading
