"""Every page, in every state, for people who see little, use no mouse, listen, enlarge or force their own colours.

One browser goes through all pages of `every_page` once; what it finds is judged below, a test a question. Where nothing
else is said the rules are those of WCAG 2.2, levels A and AA.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.browser import looking
from tests.browser.every_page import EveryPage, Shown

WIDE, NARROW = 1280, 360
HALVED = (640, 320)
"""What 200 % and 400 % leave of 1280 px."""
Found = dict[str, list[str]]


@pytest.fixture(scope="module")
def every(tmp_path_factory: pytest.TempPathFactory) -> Iterator[EveryPage]:
    """The pages."""
    pages = EveryPage(tmp_path_factory.mktemp("every"))
    yield pages
    pages.close()


@pytest.fixture(scope="module")
def found(browser: Browser, every: EveryPage) -> Found:
    """What is wrong, by what was looked at."""
    found: Found = defaultdict(list)
    context = browser.new_context(viewport={"width": WIDE, "height": 900})
    every.give(context)
    page = context.new_page()
    for shown in every.pages.values():
        page.set_viewport_size({"width": WIDE, "height": 900})
        page.emulate_media(color_scheme="light", forced_colors="none", reduced_motion="no-preference")
        page.goto(shown.url)
        page.wait_for_function(looking.DRAWN)
        _wide(page, shown, found)
        _narrower(page, shown, found)
    context.close()
    return found


def _look(page: Page, shown: Shown, found: Found, name: str, script: str, *given: object) -> None:
    at = f"{shown.status} {shown.url.partition('//')[2][:90]}"
    found[name] += [f"{at}: {one}" for one in page.evaluate(script, *given)]


def _wide(page: Page, shown: Shown, found: Found) -> None:
    page.evaluate(looking.AXE)
    _look(page, shown, found, "axe", looking.AXE_RUN, looking.WCAG)
    for name in ("frame", "focus", "charts", "status"):
        _look(page, shown, found, name, getattr(looking, name.upper()))
    _spaced(page, shown, found)
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    _look(page, shown, found, "axe", looking.AXE_RUN, looking.BY_COLOUR)
    _look(page, shown, found, "still", looking.STILL)
    for scheme in ("light", "dark"):
        page.emulate_media(forced_colors="active", color_scheme=scheme)  # type: ignore[arg-type]
        page.wait_for_function(looking.DRAWN)
        _look(page, shown, found, "forced", looking.FORCED)
    _look(page, shown, found, "focus", looking.FOCUS)
    page.emulate_media(forced_colors="none")
    found["titles"].append(f"{shown.status} {shown.path} {page.title()}")


def _narrower(page: Page, shown: Shown, found: Found) -> None:
    page.set_viewport_size({"width": NARROW, "height": 740})
    for scheme, rules in (("dark", looking.BY_COLOUR), ("light", looking.BY_WIDTH)):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        _look(page, shown, found, "axe", looking.AXE_RUN, rules)
    page.evaluate(looking.UNFOLD)
    for width in (NARROW, *HALVED):
        page.set_viewport_size({"width": width, "height": 740})
        page.wait_for_function(looking.SETTLED)
        _look(page, shown, found, "reflow", looking.REFLOW)
    _look(page, shown, found, "focus", looking.FOCUS)
    _spaced(page, shown, found)


def _spaced(page: Page, shown: Shown, found: Found) -> None:
    page.evaluate(looking.SPACED)
    _look(page, shown, found, "cut", looking.CUT)
    page.evaluate(looking.UNSPACED)


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("axe", id="axe-finds-nothing-in-either-theme-wide-or-narrow"),
        pytest.param("frame", id="one-heading-of-the-page-and-a-language"),
        pytest.param("focus", id="every-control-shows-the-focus"),
        pytest.param("charts", id="every-chart-has-its-numbers-as-a-table"),
        pytest.param("status", id="an-answer-is-announced-once-and-shortly"),
        pytest.param("cut", id="wider-spacing-cuts-no-text"),
        pytest.param("still", id="nothing-moves-for-who-wants-less-motion"),
        pytest.param("forced", id="forced-colours-keep-edges-and-charts"),
        pytest.param("reflow", id="no-page-scrolls-sideways-and-boxes-that-do-are-named"),
    ],
)
def test_every_page(found: Found, name: str) -> None:
    assert found[name] == []


def test_titles_say_the_page_and_no_two_pages_share_one(found: Found, every: EveryPage) -> None:
    of: dict[str, set[str]] = defaultdict(set)
    for line in found["titles"]:
        status, path, title = line.split(" ", 2)
        assert title.endswith(" · Greyspell"), line
        assert title.startswith("Error: ") == (status in ("409", "422")), line
        of[title].add(path)
    assert {title: paths for title, paths in of.items() if len(paths) > 1 and "Error: " not in title} == {}
    for page in every.sites[0].client.app.app.state.nav:
        assert of[f"{page.title} · Greyspell"] == {page.path}
