"""Take the pictures of the README: pages of the example household, at one standing moment, in a real browser.

Needs the extra `test` (playwright), pillow, and a Chromium on the path:

    python data/build/readme_pictures.py

Each picture has 64 colours, which a page of text needs no more than; `tests/test_docs.py` holds them to the README.
"""

from __future__ import annotations

import io
import shutil
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import uvicorn
from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from webapp.app import create_app

FOLDER = Path(__file__).resolve().parents[1] / "readme"
TAKEN_AT = datetime(2026, 11, 25, 17, 30, tzinfo=UTC)
COLOURS = 64
PAPER_PX, MARGIN_PX = (794, 1123), 45
"""A4 at 96 pixels an inch, and 12 mm."""
EDGE_PX = 20
SETTLED_MS = 500
CHROMIUMS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One page as it is shown; `answer` leaves out the menu and the form."""

    name: str
    path: str
    width_px: int = 1100
    height_px: int = 1500
    dark: bool = False
    paper: bool = False
    answer: bool = False


PICTURES = (
    Picture(name="today", path="/today?charge=80"),
    Picture(name="size", path="/size?days=3&month=12", height_px=1000, answer=True),
    Picture(name="week", path="/week", height_px=1160, answer=True),
    Picture(name="charge", path="/charge?bank=new", height_px=1130, answer=True),
    Picture(name="sheet", path="/sheet", width_px=PAPER_PX[0], height_px=PAPER_PX[1], paper=True),
    Picture(name="phone", path="/today?charge=80", width_px=360, height_px=740, dark=True, answer=True),
)


@contextmanager
def served() -> Iterator[str]:
    """The app as at first start, over a folder that is thrown away, its clock standing still."""
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(Path(folder), clock=lambda: TAKEN_AT)
        server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="warning", lifespan="off"))
        thread = threading.Thread(target=server.run)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
        server.should_exit = True
        thread.join()
        app.close()


def taken(browser: Browser, site: str, one: Picture) -> Image.Image:
    """One picture as the browser makes it."""
    edge_px = MARGIN_PX if one.paper else 0
    size = {"width": one.width_px - 2 * edge_px, "height": one.height_px - 2 * edge_px}
    context = browser.new_context(viewport=size, color_scheme="dark" if one.dark else "light", reduced_motion="reduce")
    page = context.new_page()
    if one.paper:
        page.emulate_media(media="print", color_scheme="light")
    page.goto(site + one.path, wait_until="networkidle")
    page.wait_for_timeout(SETTLED_MS)
    left_px = top_px = 0.0
    if one.answer:
        box = page.locator("#answer").bounding_box()
        assert box is not None, f"no answer at {one.path}"
        left_px, top_px = max(box["x"] - EDGE_PX, 0.0), box["y"]
    clip = {"x": left_px, "y": top_px, "width": size["width"] - left_px, "height": size["height"]}
    image = Image.open(io.BytesIO(page.screenshot(full_page=True, clip=clip))).convert("RGB")  # type: ignore[arg-type]
    context.close()
    if not one.paper:
        return image
    sheet = Image.new("RGB", (one.width_px, one.height_px), "white")
    sheet.paste(image, (edge_px, edge_px))
    return sheet


def main() -> None:
    """Take them all."""
    with sync_playwright() as playwright, served() as site:
        program = next(filter(None, map(shutil.which, CHROMIUMS)))
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        for one in PICTURES:
            target = FOLDER / f"{one.name}.png"
            taken(browser, site, one).quantize(COLOURS, dither=Image.Dither.NONE).save(target, optimize=True)
            print(f"{target.name}: {target.stat().st_size / 1000:.0f} kB")
        browser.close()


if __name__ == "__main__":
    main()
