"""The shipped cells: every number has a source, and every curve could be a cell."""

from __future__ import annotations

import tomllib
from itertools import pairwise

import pytest

from engine.cells import catalogue
from engine.paths import data_dir
from engine.sources import SOURCE_KINDS

WORDS = {"name", "reserve_reason", "life", "needs_board", "vents_hydrogen", "sources"}
"""Fields that are no numbers; the last two flags are what the chemistry is."""
IDS = sorted(path.stem for path in (data_dir() / "chemistries").glob("*.toml"))


def written(id):
    return tomllib.loads((data_dir() / "chemistries" / f"{id}.toml").read_text("utf-8"))


def test_every_chemistry_has_its_curve_and_every_curve_its_chemistry():
    assert sorted(path.stem for path in (data_dir() / "curves").glob("*.csv")) == IDS
    assert sorted(catalogue.names()) == IDS


@pytest.mark.parametrize("id", IDS)
def test_every_number_has_a_source(id):
    cell = catalogue.load(id)
    numbers = set(written(id)) - WORDS | set(catalogue.CURVE) | {"coulombic_efficiency"}
    assert {name for name in numbers if cell.source_of(name) is None} == set()


@pytest.mark.parametrize("id", IDS)
def test_every_source_says_a_kind_and_belongs_to_one_number(id):
    cell = catalogue.load(id)
    covered = [name for key in cell.sources for name in key.split()]
    assert len(covered) == len(set(covered))
    assert all(hasattr(cell, name) for name in covered)
    assert all(source.kind in SOURCE_KINDS and len(source.text) > 15 for source in cell.sources.values())


@pytest.mark.parametrize("id", IDS)
def test_every_curve_says_where_it_is_from(id):
    first = (data_dir() / "curves" / f"{id}.csv").read_text("utf-8").splitlines()[0]
    kind = catalogue.load(id).source_of("ocv_v").kind
    text = (data_dir() / "curves" / f"{id}.csv").read_text("utf-8")
    assert first.startswith("# ")
    assert kind in text.lower()


@pytest.mark.parametrize("id", IDS)
def test_every_curve_rises_and_its_volts_are_in_order(id):
    cell = catalogue.load(id)
    assert all(b > a for a, b in pairwise(cell.ocv_v))
    assert min(cell.r_slow_v_per_c) > 0 < min(cell.r_fast_v_per_c)
    assert cell.v_low < cell.ocv_v[0] < cell.v_nominal < cell.ocv_v[-1] < cell.v_full <= cell.v_max
    assert cell.v_nominal < cell.v_charge <= cell.v_full
    assert cell.charge_min_c < 25 < cell.charge_max_c
    assert cell.discharge_min_c <= cell.charge_min_c


@pytest.mark.parametrize("id", IDS)
def test_every_chemistry_says_why_it_keeps_a_reserve_and_what_its_life_is_worth(id):
    cell = catalogue.load(id)
    assert len(cell.reserve_reason) > 40
    assert "no standard test, makers' numbers are not comparable" in cell.life
    assert written(id).keys() >= {"needs_board", "vents_hydrogen"}


def test_lead_acid_comes_in_blocks_and_gasses_and_the_rest_need_a_board():
    for id in IDS:
        cell, lead = catalogue.load(id), id.startswith("lead")
        assert (cell.series_step, cell.vents_hydrogen, cell.needs_board) == (6 if lead else 1, lead, not lead)


def test_only_flooded_cells_are_watered_and_equalised_and_lead_alone_makes_gas():
    for id in IDS:
        cell, lead, flooded = catalogue.load(id), id.startswith("lead"), id == "lead_flooded"
        assert (cell.waters, cell.equalise_v is not None) == (flooded, flooded)
        assert (cell.gas_float_ma_per_ah is not None, cell.gas_boost_ma_per_ah is not None) == (lead, lead)
        assert cell.equalise_v is None or cell.equalise_v > cell.v_max
