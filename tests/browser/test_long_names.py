"""Names without a single space, as exports have them, on a phone."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.browser.conftest import Opener
from tests.browser.looking import NARROW, addresses
from tests.web.sun_files import kc_of_years, radiation

NAME = "daily_export_of_the_solar_charger_in_the_barn_2014_2026_final_copy_2"


def renamed(thing: dict[str, Any], kind: str) -> dict[str, Any]:
    return thing | {"name": f"{kind}_{NAME}"}


def test_no_page_is_wider_than_the_phone(
    open_page: Opener, serve: Callable[..., str], tmp_path: Path, small_house: dict[str, Any]
) -> None:
    house = renamed(small_house, "house")
    for section in ("inverters", "banks", "loads"):
        house[section] = [renamed(thing, section) for thing in house[section]]
    house["sun"]["arrays"] = [renamed(thing, "array") for thing in house["sun"]["arrays"]]
    house["generators"] = [
        {"id": "gen", "name": f"generator_{NAME}", "rated_w": 3000, "charger_w": 2000}
        | {"full_l_per_h": 1.4, "idle_l_per_h": 0.5, "start_soc": 0.3, "stop_soc": 0.7}
    ]
    path = tmp_path / "household.json"
    path.write_text(json.dumps(house), encoding="utf-8")
    site = serve(path)
    page = open_page(site, viewport=NARROW)
    page.goto(f"{site}/records")
    file = tmp_path / f"{NAME}.csv"
    file.write_text(radiation(kc_of_years(4)), encoding="utf-8")
    page.locator("#file").set_input_files(file)
    page.get_by_role("button", name="Look at it").click()
    page.wait_for_selector("table.reads")
    wide = {}
    for address in (page.url.removeprefix(site), *addresses(page)):
        page.goto(site + address)
        page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > NARROW["width"]:
            wide[address] = width
    assert not wide
