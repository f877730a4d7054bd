"""How it is worked out: numbers worked out by hand, every value with its source, accuracies measured again."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pytest
from bs4 import BeautifulSoup, Tag

from engine.answers import (
    checking_bank,
    checking_charge,
    checking_load,
    checking_shade,
    checking_yield,
    heating,
    learning_capacity,
    learning_loads,
    learning_parts,
    measuring_dull,
    shedding,
    spares_joining,
    spares_sources,
    winters_years,
)
from engine.answers import measuring_capacity_words as capacity_words
from engine.answers.bench_forecast import PRIOR_UNKNOWN, PRIORS
from engine.answers.learning_charge import BOTH_WAYS_SHARE
from engine.bench.measured import from_charge_and_discharge, from_table
from engine.cells import catalogue, curve
from engine.cells.chemistry import ocv_at, r_slow_at
from engine.cells.lead_acid import GAS_SAFETY
from engine.house import grouping
from engine.house.wiring import CONDUCTOR_C, DROP_SHARE
from engine.sky import climate as climates
from engine.sky.climate import presets
from engine.sky.local import monthly_kc
from engine.sky.log import LEAST_DAYS_OF_MONTH
from engine.sky.moment import LEAST_SUN_DEG
from engine.sky.site import Site
from engine.sky.world import FAR_KM
from engine.sources import SOURCE_KINDS
from tests.conftest import SMALL_HOUSE, Client, Clock, soup
from tests.published import test_cells_oracle as cells_judge
from tests.published import test_measured_oracle as bench_judge
from tests.published import test_profile_oracle as house_judge
from tests.published import test_sky_oracle as sky_judge
from webapp.app import create_app
from webapp.method_accuracy import ACCURACIES
from webapp.method_marks import MARKS
from webapp.pages.method import CONTENTS, content
from webapp.paths import templates_dir


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> BeautifulSoup:
    """The page, parsed once for all that is read on it."""
    folder = tmp_path_factory.mktemp("method")
    (folder / "croft.json").write_text(json.dumps(SMALL_HOUSE), encoding="utf-8")
    client = Client(create_app(folder / "data", folder / "croft.json", Clock()))
    response = client.get("/method")
    client.close()
    assert response.status_code == 200
    return soup(response)


def text(tag: Tag) -> str:
    """The words of a part, spaces made plain."""
    return " ".join(tag.get_text(" ").split())


def sums(page: BeautifulSoup, section: str) -> dict[str, str]:
    """What each worked line of a section comes to."""
    return {text(row.th): text(row.find_all("td")[-1]) for row in page.select(f"#{section} table.worked tbody tr")}


def test_its_contents_lead_to_every_section(page: BeautifulSoup) -> None:
    links = [link["href"] for link in page.select(".contents a")]
    assert links == [f"#{name}" for name, _ in CONTENTS]
    sections = [section["id"] for section in page.select(".method > section")]
    assert sections == [name for name, _ in CONTENTS]
    ids = [tag["id"] for tag in page.find_all(id=True)]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize(
    "term", ["State of charge", "Days of autonomy", "absorption", "Tail current", "C-rate", "kc", "Reserve", "Sag"]
)
def test_its_terms_are_explained(page: BeautifulSoup, term: str) -> None:
    assert any(term in text(dt) for dt in page.select("#terms dt"))


def test_the_hours_are_those_of_a_pocket_calculator(page: BeautifulSoup) -> None:
    # (0.80 - 0.20) x 16 x 280 Ah x 3.2 V = 8,601.6 Wh; 300 / 0.93 + 40 = 362.58 W; 8,601.6 / 362.58 = 23.72 h.
    shown = sums(page, "hours")
    assert shown["In the bank above its reserve"] == "8.602 kWh"
    assert shown["Drawn from it"] == "362.6 W"
    assert shown["Hours left"] == "23.72 h"


def test_the_size_is_that_of_a_pocket_calculator(page: BeautifulSoup) -> None:
    # 12 / 0.93 + 0.96 = 13.863 kWh a day less 3 x 0.95 = 2.85 kWh; x 3 = 33.04 kWh; / 0.7 = 47.20 kWh;
    # / 14.336 kWh a string = 3.29, so 4.
    shown = sums(page, "size")
    assert shown["Usable"] == "33.04 kWh"
    assert shown["Label"] == "47.2 kWh"
    assert shown["Strings"] == "4 strings"


def test_the_generator_is_that_of_a_pocket_calculator(page: BeautifulSoup) -> None:
    # 0.3 x 14,336 Wh = 4,300.8 Wh; / 362.58 W = 11.86 h; 3 x 4,300.8 / 1,960 W = 6.583 h; 300 + 2,000 / 0.9 =
    # 2,522 W, so 0.4 + 0.8 x 2,522 / 3,000 = 1.073 l an hour, 7.061 l in all.
    assert list(sums(page, "generator").values()) == ["11.86 h", "6.583 h", "1.073 l", "7.061 l"]


def test_small_sums_by_hand(page: BeautifulSoup) -> None:
    # Peukert: 100 x 0.5^0.2 = 87.06, 100 x 0.25^0.2 = 75.79; acceptance: 0.1 x 100 / 2 = 5.
    lead = sums(page, "lead")
    assert (lead["10 A"], lead["20 A"], lead["At 90 %"]) == ("87.06 Ah", "75.79 Ah", "5 A")
    # (150 x 1.16278 Wh x 45 K + 1,500 Wh) / 3 = 3.116 kWh; 35 x 0.18 / 0.9 = 7 kWh; 1.1 kW x 8 h = 8.8 kWh.
    loads = sums(page, "loads")
    assert list(loads.values()) == ["3.116 kWh", "7 kWh", "8.8 kWh"]
    # 42 / 16 = 2.625 V; 2,000 / (16 x 3.1 x 200) = 0.2016C; 1 / 0.94 - 0.006 - 1 - 0.02 = 0.03783.
    floor, inverter = sums(page, "floor"), sums(page, "inverter")
    assert (floor["Cut-off per cell"], floor["Current"]) == ("2.625 V", "0.2016 C")
    assert inverter["k2"] == "0.03783"
    # 0.6 x 660 Ah = 396 Ah; 1 - 0.4 x 660 / 840 = 68.57 %; 0.15 / 0.55 = 27.27 %.
    assert list(sums(page, "scales").values()) == ["60 %", "396 Ah", "68.57 %", "27.27 %"]


def test_the_inverter_table_is_its_formula(page: BeautifulSoup) -> None:
    # 50 + 1.02 P + 0.04 P^2 / 5,000 by hand: 152, 254, 562, 1,078, 2,122, 5,350 W.
    rows = [[text(cell) for cell in row.find_all(["th", "td"])] for row in page.select("#inverter .narrow tbody tr")]
    assert [row[1] for row in rows] == ["50", "152", "254", "562", "1 078", "2 122", "5 350"]
    assert [row[2] for row in rows] == ["–", "66 %", "79 %", "89 %", "93 %", "94 %", "93 %"]


def test_a_charge_ends_where_the_volts_add_up(page: BeautifulSoup) -> None:
    for row in page.select("#charge table.worked tbody tr"):
        how = text(row.find("td"))
        ocv, rest = how.removeprefix("OCV ").split(" V + ")
        rate, ohms = rest.split(" V = ")[0].split(" × R ")
        assert float(ocv) + float(rate) * float(ohms) == pytest.approx(3.6, abs=0.0011)
        assert how.endswith("= 3.600 V")


def test_a_bench_table_is_moved_by_the_resistance(page: BeautifulSoup) -> None:
    # By the printed numbers: (3.600 - 3.512) / 0.42 = 0.21 V per C; 3.60 + 0.4 x 0.21 = 3.684 V. The way through
    # the table must come out near the cell itself, and far from the untranslated column.
    shown = sums(page, "bench")
    assert shown["Resistance"] == "0.21 V per C"
    assert shown["At 0.1C"] == "3.684 V"
    by_table, truth = (float(shown[name].removesuffix(" %")) for name in ("Charge there", "The cell itself"))
    assert by_table == pytest.approx(truth, abs=0.3)
    assert truth - float(shown["Stopped at 3.60 V"].removesuffix(" %")) > 4


def test_a_hold_is_the_sum_of_its_small_parts(page: BeautifulSoup) -> None:
    # Held at 3.6 V: each small part of the charge takes its share over the current that the cell takes there.
    shown = sums(page, "hold")
    start, end = (float(shown[name].removesuffix(" %")) / 100.0 for name in ("It begins at", "It ends at"))
    cell, parts = catalogue.load("sodium_layered"), 2000
    middles = start + (np.arange(parts) + 0.5) * (end - start) / parts
    current_c = [(3.6 - ocv_at(cell, s)) / r_slow_at(cell, s) for s in middles]
    efficiency = cell.coulombic_efficiency
    assert isinstance(efficiency, float)
    hours = (end - start) / parts / efficiency * (1.0 / np.array(current_c)).sum()
    assert float(shown["It takes"].removesuffix(" h")) == pytest.approx(hours, rel=0.01)
    assert shown["Current there"] == "0.08 C"


def test_what_a_balancer_sees_is_the_printed_difference_halved(page: BeautifulSoup) -> None:
    rows = page.select("#hold table.worked")[1].select("tbody tr")
    assert len(rows) == 3
    for row in rows:
        how, mv = (text(cell) for cell in row.find_all("td"))
        above, below = how.removeprefix("(").split(") V")[0].split(" − ")
        assert float(mv.removesuffix(" mV")) == pytest.approx((float(above) - float(below)) * 500.0, abs=0.06)


def test_strings_are_those_of_a_pocket_calculator(page: BeautifulSoup) -> None:
    # 97 + 96 = 193 Ah beside 199; dealt 100 + 96 and 99 + 97 = 196 both; 6 Ah / 0.1 A = 60 h.
    assert list(sums(page, "strings").values()) == ["193 Ah", "196 Ah", "60 h"]


def test_bars_of_a_forecast_stand_with_their_chemistries(page: BeautifulSoup) -> None:
    shown = text(page.find(id="plan"))
    for name, (share, _) in (*PRIORS.items(), ("any other", PRIOR_UNKNOWN)):
        assert f"{name} {share * 100:.0f} points" in shown


def test_where_checks_begin_is_told_with_the_kind_of_each_mark(page: BeautifulSoup) -> None:
    rows = [[text(cell) for cell in row.find_all(["th", "td"])] for row in page.select("#marks tbody tr")]
    assert len(rows) == len(MARKS)
    assert {kind for _, _, kind in rows} <= {*SOURCE_KINDS, "judgement"}
    marks = {what: mark for what, mark, _ in rows}
    assert marks["Wiring: fuse against a current of hours"] == "closer than 1.25 times"
    assert marks["Loads: hot water and legionella"] == "below 60 °C"


PERCENT = 100.0
TYPED = (
    (
        "learning",
        f"{learning_parts.METER_SHARE * PERCENT:g} % of what they show, "
        f"{learning_parts.SHUNT_ZERO_A * 1000:g} mA of a shunt’s",
    ),
    (
        "learning",
        f"zero, {learning_parts.VOLTS_SHARE * PERCENT:g} % of the volts, {BOTH_WAYS_SHARE * PERCENT:g} % between",
    ),
    ("learning", f"drawn again {learning_parts.DRAWS} times, in weeks"),
    (
        "learning",
        f"a curve {learning_capacity.CURVE_V * 1000:g} mV off and a resistance "
        f"{learning_capacity.RESISTANCE_SHARE * PERCENT:g} % off",
    ),
    ("learning", f"taken as {learning_loads.SCALED_SHARE * PERCENT:g} % unsure"),
    ("compared", f"stretches of less than {checking_charge.LEAST_RUN_H} are left out"),
    ("compared", f"over {checking_shade.SHADE_DAYS} days, on at least twelve bright ones"),
    ("compared", f"above the loads by {checking_load.LEAST_IDLE_W:g} W and a tenth"),
    ("compared", f"falls and rises {checking_bank.FADE_SHARE * PERCENT:g} % faster"),
    ("compared", f"it falls {checking_bank.UNSEEN_SHARE * PERCENT:g} % faster"),
    ("compared", f"the error grows by {checking_bank.DRIFT_PER_DAY * PERCENT:g} points a day"),
    ("compared", f"under {checking_yield.NEAR_ZERO * PERCENT:g} % of a clear day"),
    ("compared", f"hours that have {checking_yield.HELD_PART * PERCENT:g} % of a clear day"),
    ("compared", f"gave under {checking_yield.HELD_SHARE * PERCENT:g} % of what"),
    (
        "measuring",
        f"capacity of {capacity_words.LEAST_SHARE * PERCENT:g} to "
        f"{capacity_words.MOST_SHARE * PERCENT:g} % of the label",
    ),
    ("measuring", f"whose kc is below {measuring_dull.BRIGHTER_KC:.2f}"),
    ("winters", f"{winters_years.RESAMPLES} times: {winters_years.BAND_PERCENT[0]:g}th to"),
    ("records", f"have {LEAST_DAYS_OF_MONTH} days or more"),
    ("records", f"brighter than {climates.KC_MAX} of ours"),
    ("cold", f"{heating.CELL_HEAT_J_PER_KG_K:,.0f} J/(kg K)".replace(",", " ")),
    ("cold", f"({heating.BOX_W_PER_K:g} W: 5 cm of foam"),
    (
        "spares",
        f"{spares_sources.DEVICE_W:g} W, {spares_sources.DEVICE_EFFICIENCY * PERCENT:g} % and "
        f"{spares_joining.LEADS_MOHM:g} mΩ are typical",
    ),
    ("spares", f"within {spares_joining.EQUAL_V * 1000:g} mV of the bank’s"),
    ("sky-now", f"Below {LEAST_SUN_DEG:g}° of sun nothing is read"),
    ("sun", f"more than {FAR_KM:g} km from any cell"),
    ("strings", f"are {grouping.ODD_VOLTS_SHARE * PERCENT:g} % off"),
    ("wiring", f"{CONDUCTOR_C:g} °C and a wanted drop of {DROP_SHARE * PERCENT:g} %"),
    ("care", f"{GAS_SAFETY:g} for old cells"),
    ("off", f"{shedding.WAITS:g} for a load that can wait, {shedding.SHEDS:g} for one"),
)
"""Numbers that stand in the words of a section, written here from the code that uses them."""


@pytest.mark.parametrize(("section", "words"), TYPED, ids=[f"{where}-{n}" for n, (where, _) in enumerate(TYPED)])
def test_numbers_in_the_words_are_those_of_the_code(page: BeautifulSoup, section: str, words: str) -> None:
    assert words in text(page.find(id=section))


def test_every_model_says_where_it_is_from_and_what_it_leaves_out(page: BeautifulSoup) -> None:
    lists = {"terms", "kinds", "steps", "marks", "accuracy", "chemistries", "data", "limits"}
    for section in page.select(".method > section"):
        said = [text(dt) for dt in section.select("dl.about dt")]
        if section["id"] not in lists:
            assert said[:4] == ["From", "Kind", "Held against", "Leaves out"], section["id"]


def test_its_balance_closes(page: BeautifulSoup) -> None:
    assert float(sums(page, "week")["Largest gap of the four"].removesuffix(" %")) < 0.1


def test_no_worked_number_is_typed_into_the_template() -> None:
    template = (templates_dir() / "method.html").read_text("utf-8")
    for number in ("23.7", "8.602", "362.6", "33.04", "47.2", "87.06", "3.116", "0.0378", "0.16 deg", "13.2"):
        assert number not in template


def test_the_numbers_follow_the_engine(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    before = client.get("/method").text
    content.cache_clear()
    monkeypatch.setattr("webapp.worked_parts.daily_kwh", lambda *_: 1.0)
    try:
        after = sums(soup(client.get("/method")), "loads")
    finally:
        content.cache_clear()
    assert "3.116" in before
    assert set(after.values()) == {"1 kWh"}


@pytest.mark.parametrize("key", list(catalogue.names()))
def test_every_value_of_a_cell_stands_with_its_kind_and_source(page: BeautifulSoup, key: str) -> None:
    cell = catalogue.load(key)
    rows = page.select(f"#cell-{key} tbody tr")
    assert [text(row.find_all("td")[0]) for row in rows] == [source.kind for source in cell.sources.values()]
    assert [text(row.find_all("td")[1]) for row in rows] == [
        " ".join(source.text.split()) for source in cell.sources.values()
    ]
    assert f"{cell.v_nominal:g} V" in text(rows[1]) + text(rows[2])


def test_every_kind_is_explained(page: BeautifulSoup) -> None:
    assert [text(dt).lower() for dt in page.select("#kinds dt")] == [kind.lower() for kind in SOURCE_KINDS]


def test_every_spell_stands_with_station_date_and_credit(page: BeautifulSoup) -> None:
    shown = text(page.find(id="data"))
    for one in presets().values():
        assert one.station in shown
        assert one.end in shown
        assert " ".join(one.source.split()) in shown


@pytest.mark.parametrize(
    "words",
    [
        "Source: KNMI",
        "CC0 1.0",
        "Copyright Met Éireann",
        "met.ie",
        "Creative Commons Attribution 4.0 International",
        "does not accept any liability",
        "The data was modified",
        "10.1175/JCLI-D-16-0758.1",
        "gsee-climate-data",
        "Remund",
    ],
)
def test_the_weather_services_are_credited(page: BeautifulSoup, words: str) -> None:
    assert words in text(page.find(id="data"))


def years_off(of_plane: bool, dull_only: bool) -> list[float]:
    """Ours over theirs less one [%] for each typical year."""
    found = []
    for year in sky_judge.YEARS:
        days = sky_judge.TestTypicalYears.dull(year) if dull_only else slice(None)
        ours = sky_judge.TestTypicalYears.ours(year)[0 if of_plane else 1]
        theirs = np.array(year["plane_kwh_m2" if of_plane else "dc_kwh_per_kwp"])
        found.append(100.0 * (ours[days].sum() / theirs[days].sum() - 1.0))
    return found


def _clear_days() -> list[float]:
    """The worst month of all places [%]."""
    off = []
    for place in sky_judge.CLEARS:
        known = np.array(place["noon_deg"]) > 10.0
        off.append(np.abs(sky_judge.clear_months(place) / np.array(place["clear_kwh_m2"]) - 1.0)[known].max())
    return [100.0 * max(off)]


def _world_months() -> list[float]:
    """The lowest and highest month of the world table against the climates that were measured [%]."""
    off: list[float] = []
    for key in ("temperate_maritime", "oceanic_west", "subtropical"):
        station = climates.load(key)
        site = Site(latitude_deg=station.latitude_deg, longitude_deg=station.longitude_deg, time_zone="UTC")
        off += (100.0 * (np.array(monthly_kc(site)) / np.array(station.monthly_kc) - 1.0)).tolist()
    return [min(off), max(off)]


def _charge(key: str) -> list[float]:
    errors = np.abs(cells_judge.charge_end_errors(key)[:, [0, 1, 3]])
    return [*errors.mean(axis=0), *errors.max(axis=0)]


def _energy() -> list[float]:
    rows = [(key, row) for key, row in cells_judge.ONE_WAY if row["c_rate"] in (0.1, 0.2)]
    return [100.0 * (cells_judge.energy_v(key, row["c_rate"]) / row["energy_v"] - 1.0) for key, row in rows]


def _sodium() -> list[float]:
    # Common practice, no source: charge stopped at these volts, 0.5C, as % of the charge held at 3.95 V.
    practice = {2.4: 6.0, 2.8: 19.0, 3.0: 42.6, 3.6: 80.0, 3.8: 92.2}
    cell = catalogue.load("sodium_layered")
    return [100.0 * curve.soc_without_hold(cell, volts, 0.5) - share for volts, share in practice.items()]


def _house() -> list[float]:
    kept = json.loads(house_judge.make_demandlib_h0.TARGET.read_text(encoding="utf-8"))
    seasons = (("winter", 1), ("summer", 7))
    return [
        100.0
        * house_judge.rms(
            house_judge.weekday_shape(house_judge.BASE_SHARE[season], month), kept[season]["weekday_share"]
        )
        for season, month in seasons
    ]


def _bench_table() -> list[float]:
    """Mean at 0.1C and 0.2C, then worst, of each cell's table."""
    found = []
    for key in ("lfp", "nmc"):
        cell = from_table(bench_judge.bench_table(key), catalogue.load(bench_judge.BASE[key]))
        off = [np.abs(bench_judge.errors(key, cell, current)) for current in (0.1, 0.2)]
        found += [one.mean() for one in off] + [one.max() for one in off]
    return found


def _bench_log() -> list[float]:
    """Mean and worst of each cell's held column from its log."""
    found = []
    for key in ("lfp", "nmc"):
        charge, hold, discharge = bench_judge.logged(key)
        base = catalogue.load(bench_judge.BASE[key])
        off = np.abs(bench_judge.errors(key, from_charge_and_discharge(charge, discharge, base, hold=hold), "held"))
        found += [off.mean(), off.max()]
    return found


MEASURED_AGAIN: dict[str, Callable[[], list[float]]] = {
    "sun": lambda: [max(sky_judge.degrees_apart(place).max() for place in sky_judge.SUNS)],
    "clear-day": _clear_days,
    "world-months": _world_months,
    "dull-plane": lambda: years_off(of_plane=True, dull_only=True),
    "dull-yield": lambda: years_off(of_plane=False, dull_only=True),
    "year-yield": lambda: years_off(of_plane=False, dull_only=False),
    "charge-lfp": lambda: _charge("lfp"),
    "charge-nmc": lambda: _charge("nmc"),
    "charge-fast": lambda: [float(np.abs(cells_judge.charge_end_errors(key)[:, 2]).max()) for key in ("lfp", "nmc")],
    "energy": _energy,
    "sodium": _sodium,
    "bench-table": _bench_table,
    "bench-log": _bench_log,
    "house": _house,
}


@pytest.mark.parametrize("accuracy", ACCURACIES, ids=lambda accuracy: accuracy.id)
def test_every_stated_accuracy_is_measured_again(accuracy) -> None:
    # To the digit that is shown.
    again = MEASURED_AGAIN[accuracy.id]()
    assert accuracy.numbers == pytest.approx(again, abs=0.5 * 10.0**-accuracy.digits + 1e-9)


def test_accuracies_stand_on_the_page(page: BeautifulSoup) -> None:
    for accuracy in ACCURACIES:
        row = page.find(id=f"accuracy-{accuracy.id}")
        assert isinstance(row, Tag)
        assert accuracy.sentence in text(row)
        assert row.find_parent("section")["id"] == "accuracy"


def test_what_is_not_modelled_is_said(page: BeautifulSoup) -> None:
    limits = text(page.find(id="limits"))
    for words in ("ageing", "weakest", "one DC bus", "forecast", "never an approval"):
        assert words.lower() in limits.lower()
