"""Bringing a file as a person does, for the pages of kept files."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Page


def bring_to(page: Page, address: str, folder: Path, content: str, name: str) -> None:
    """Upload one file on a list of kept files and wait for its own page."""
    file = folder / name
    file.write_text(content, encoding="utf-8")
    page.goto(address)
    page.locator("#file").set_input_files(file)
    page.get_by_role("button", name="Look at it").click()
    page.wait_for_url(re.compile(re.escape(address) + r"/\d+$"))
