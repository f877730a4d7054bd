"""Every page, in every state, for people who see little, use no mouse, listen, enlarge or force their own colours.

One browser goes through all pages of `every_page` once; what it finds is judged below, a test a question. Where nothing
else is said the rules are those of WCAG 2.2, levels A and AA.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import watch
from tests.browser.every_page import LOOKING_AT, EveryPage, Shown, soup_of
from tests.browser.looking import AXE, LOOKING, RULES
from tests.conftest import ORIGIN
from tests.web import chart_contrast

FRAME = "/today"
"""The page on which the frame of all pages, which differs by width, is looked at in both themes at both widths."""
WIDE, NARROW = 1280, 360
HALVED = (640, 320)
"""What 200 % and 400 % leave of 1280 px."""
Found = dict[str, list[str]]


@pytest.fixture(scope="module")
def every(tmp_path_factory: pytest.TempPathFactory) -> Iterator[EveryPage]:
    """The pages."""
    pages = EveryPage(tmp_path_factory.mktemp("every"), f"{AXE}\n{LOOKING}")
    yield pages
    pages.close()


@pytest.fixture(scope="module")
def found(browser: Browser, every: EveryPage) -> Found:
    """What is wrong, by what was looked at."""
    found: Found = defaultdict(list)
    context = browser.new_context(viewport={"width": WIDE, "height": 900})
    page = context.new_page()
    faults: list[str] = []
    watch(page, faults)
    seen: set[tuple[str, int]] = set()
    for shown in every.pages.values():
        page.goto("about:blank")
        page.set_viewport_size({"width": WIDE, "height": 900})
        page.emulate_media(color_scheme="light", forced_colors="none", reduced_motion="no-preference")
        page.goto(every.address(shown))
        page.add_script_tag(url=LOOKING_AT)
        look = Look(page, shown, found)
        look.wide()
        first = (shown.path, shown.status) not in seen
        look.enlarged(HALVED if first else HALVED[1:])
        if first:
            look.dark()
            look.forced()
        seen.add((shown.path, shown.status))
        own = f"status of {int(shown.status)}"
        found["quiet"] += [f"{shown.url[:90]}: {fault}" for fault in faults if own not in fault]
        faults.clear()
    context.close()
    return found


@dataclass(frozen=True)
class Look:
    """One page, and where what is wrong with it is noted."""

    page: Page
    shown: Shown
    found: Found

    def at(self, name: str, given: object = None) -> None:
        """Look at one thing."""
        place = f"{self.shown.status} {self.shown.url.partition('//')[2][:90]}"
        self.found[name] += [
            f"{place}: {one}" for one in self.page.evaluate(f"(given) => looking.{name}(given)", given)
        ]

    def do(self, name: str) -> None:
        """Change the page as a person would."""
        self.page.evaluate(f"() => looking.{name}()")

    def wait(self, name: str) -> None:
        """Wait until something holds."""
        self.page.wait_for_function(f"() => looking.{name}()")

    def spaced(self) -> None:
        """Look whether wider spacing cuts text."""
        self.do("space")
        self.at("cut")
        self.do("unspace")

    def sized(self, width: int) -> None:
        """Make the window so wide, and wait until the page has followed."""
        self.page.set_viewport_size({"width": width, "height": 800})
        self.page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        self.wait("settled")

    def wide(self) -> None:
        """Look at the page on a desktop."""
        self.wait("drawn")
        self.at("axe", RULES)
        self.at("contrasts", f"{WIDE}, light")
        for name in ("frame", "focus", "charts", "status"):
            self.at(name)
        self.spaced()
        self.found["titles"].append(f"{self.shown.status} {self.shown.path} {self.page.title()}")

    def enlarged(self, widths: tuple[int, ...]) -> None:
        """Look at the page where less of the window is left, by enlarging or on a phone."""
        self.do("unfold")
        for width in widths:
            self.sized(width)
            self.at("reflow")
        self.at("targets")
        self.spaced()

    def dark(self) -> None:
        """Look at the page in the other theme too, on a phone, for who wants less motion."""
        if self.shown.path == FRAME:
            self.contrasts("light", NARROW)
            self.contrasts("dark", WIDE)
        self.page.emulate_media(reduced_motion="reduce")
        self.contrasts("dark", NARROW)
        self.at("focus")
        self.at("still")

    def contrasts(self, theme: Literal["dark", "light"], width: int) -> None:
        """Look at the colours of a theme at a width."""
        self.page.emulate_media(color_scheme=theme)
        self.sized(width)
        self.at("contrasts", f"{width}, {theme}")

    def forced(self) -> None:
        """Look at the page with the colours that the system forces."""
        schemes: tuple[Literal["dark"], Literal["light"]] = ("dark", "light")
        for scheme in schemes:
            self.page.emulate_media(forced_colors="active", color_scheme=scheme)
            self.wait("settled")
            self.at("forced")
        self.at("focus")


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("axe", id="axe-finds-nothing"),
        pytest.param("contrasts", id="axe-finds-enough-contrast-in-either-theme-wide-or-narrow"),
        pytest.param("frame", id="one-heading-of-the-page-and-a-language"),
        pytest.param("focus", id="every-control-shows-the-focus"),
        pytest.param("charts", id="every-chart-has-its-numbers-as-a-table"),
        pytest.param("status", id="an-answer-is-announced-once-and-shortly"),
        pytest.param("cut", id="wider-spacing-cuts-no-text"),
        pytest.param("still", id="nothing-moves-for-who-wants-less-motion"),
        pytest.param("forced", id="forced-colours-keep-edges-and-charts"),
        pytest.param("reflow", id="no-page-scrolls-sideways-and-boxes-that-do-are-named"),
        pytest.param("targets", id="what-is-pressed-on-a-phone-is-as-high-as-a-thumb"),
        pytest.param("quiet", id="no-page-complains-or-asks-another-machine"),
    ],
)
def test_every_page(found: Found, name: str) -> None:
    assert found[name] == []


def test_every_page_of_the_menu_is_there_with_scripts_off(browser: Browser, every: EveryPage) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    for path in (one.path for one in every.sites[0].client.app.app.state.nav):
        answer = page.goto(every.address(every.pages[f"{ORIGIN}{path}"]))
        assert answer is not None
        assert answer.status == 200
        expect(page.locator("h1")).to_be_visible()
    context.close()


def test_a_page_that_complains_or_asks_another_machine_is_found(browser: Browser) -> None:
    context = browser.new_context()
    page = context.new_page()
    faults: list[str] = []
    watch(page, faults)
    page.set_content("<script>console.error('lost')</script><script>throw Error('broken')</script>")
    page.set_content("<img alt='' src='http://192.0.2.1/one.png'>", wait_until="commit")
    context.close()
    assert [fault.partition(":")[0] for fault in faults][:3] == ["console", "page error", "request to http"]


def test_titles_say_the_page_and_no_two_pages_share_one(found: Found, every: EveryPage) -> None:
    of: dict[str, set[str]] = defaultdict(set)
    for line in found["titles"]:
        status, path, title = line.split(" ", 2)
        assert title.endswith(" · Greyspell"), line
        assert title.startswith("Error: ") == (status in ("409", "422")), line
        of[title].add(path.removesuffix("/read"))
    assert {title: paths for title, paths in of.items() if len(paths) > 1 and "Error: " not in title} == {}
    for page in every.sites[0].client.app.app.state.nav:
        assert of[f"{page.title} · Greyspell"] == {page.path}


@pytest.fixture(scope="module")
def figures(every: EveryPage) -> dict[str, Any]:
    """Every figure of every page, by where it stands."""
    return {
        f"{shown.url} {plot['id']}": json.loads(str(plot["data-figure"]))
        for shown in every.pages.values()
        if "data-figure" in shown.html
        for plot in soup_of(shown).select("[data-figure]")
    }


@pytest.mark.parametrize("theme", ["light", "dark", "paper"])
def test_charts_stand_out_and_their_series_differ_without_colour(figures: dict[str, Any], theme: str) -> None:
    colours = chart_contrast.themes()[theme]
    assert len(figures) > 40
    wrong = {
        where: found
        for where, figure in figures.items()
        if (found := [*chart_contrast.faint(figure, colours), *chart_contrast.alike(figure, colours)])
    }
    assert wrong == {}


def test_the_contrast_worked_out_here_is_that_of_wcag() -> None:
    black, white = (0.0, 0.0, 0.0), (1.0, 1.0, 1.0)
    # WCAG 2.2 defines the ratio of black and white as 21; #767676 on white is the usual example of just enough, 4.54.
    assert chart_contrast.contrast(black, white) == pytest.approx(21.0)
    assert chart_contrast.contrast((0x76 / 255,) * 3, white) == pytest.approx(4.54, abs=0.005)


STYLED = """(rules) => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(rules);
  document.adoptedStyleSheets = [sheet];
}"""
BROKEN = {
    "frame": ("() => { document.querySelector('h1').outerHTML = '<h2>No heading</h2>'; }", ""),
    "focus": ("() => {}", "summary:focus-visible { outline: none }"),
    "charts": ("() => { document.querySelector('.chart details table').remove(); }", ""),
    "status": ("() => { document.querySelector('#answer .range').setAttribute('role', 'status'); }", ""),
    "cut": ("() => {}", "main h1 { height: 1rem; overflow: hidden }"),
    "still": ("() => {}", "summary::before { transition: rotate .1s !important }"),
    "forced": ("() => {}", "button { border: 0 }"),
    "reflow": ("() => {}", "main { width: 200rem }"),
    "targets": ("() => {}", "button { min-height: 0; padding: 0 }"),
    "axe": ("() => { document.querySelector('label').removeAttribute('for'); }", ""),
    "contrasts": ("() => {}", ".hint, .basis { color: #aaa }"),
}
"""Ways to spoil a sound page, so that each look must find something."""


@pytest.mark.parametrize("name", sorted(BROKEN))
def test_each_look_finds_what_is_broken(browser: Browser, every: EveryPage, name: str) -> None:
    context = browser.new_context(viewport={"width": WIDE, "height": 900})
    page = context.new_page()
    page.goto(every.address(every.pages[f"{ORIGIN}/today"]))
    page.add_script_tag(url=LOOKING_AT)
    found: Found = defaultdict(list)
    look = Look(page, every.pages[f"{ORIGIN}/today"], found)
    look.wait("drawn")
    change, rules = BROKEN[name]
    page.evaluate(change)
    page.evaluate(STYLED, rules)
    look.at(name, RULES)
    context.close()
    assert found[name]


def test_faint_lines_and_lines_alike_are_found() -> None:
    def line(name: str, color: str, dash: str = "solid") -> dict[str, object]:
        return {"type": "scatter", "mode": "lines", "name": name, "line": {"color": color, "dash": dash, "width": 2}}

    def wrong(*data: dict[str, object]) -> list[str]:
        figure = {"data": list(data), "layout": {"annotations": [{"text": "here", "font": {"color": "--soft"}}]}}
        light = chart_contrast.themes()["light"]
        return [*chart_contrast.faint(figure, light), *chart_contrast.alike(figure, light)]

    assert wrong(line("a", "--slate"), line("b", "--moss", "dot")) == []
    assert wrong(line("a", "--slate"), line("b", "--moss")) == ["a and b: --slate, --moss, 1.32"]
    assert wrong(line("a", "--slate/.45")) == ["a --slate/.45: 2.17"]
