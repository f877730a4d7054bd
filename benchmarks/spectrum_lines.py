"""Time the map of 20 years x 40 arrays x 60 banks by the depth spectrum, and hold it against stepping through.

The years are made ones of the example's first supply, its panels 0.1 to 4.0 times; banks are those of its page. Ratios
are medians of pairs timed in turn: how many times longer the other way takes. They depend on the machine, so they are
told beside their goals and not judged.
"""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from benchmarks.stepping import Cells, Grid, by_c, by_numpy, by_python, c_compiler
from benchmarks.timing import most_held_mib, report, seconds, tell, tell_at_most
from engine.answers.confirming import confirming
from engine.answers.winters import fitted, many_winters
from engine.answers.winters_map import TIMES
from engine.house.household import Household
from engine.sky.averages import darkest_month
from engine.sky.made import made_years

YEARS = 20
STEPPED_SHARE = 10
"""Numpy stepping is timed on the first hours, one in so many, and scaled: its time goes by hours, not by arrays."""
PYTHON_CELLS = ((4, 10), (9, 30), (19, 50))
"""Array and bank of the cells stepped in plain Python."""
RELATIVE_GOAL = 1e-9


def spectrum_lines(home: Household) -> None:
    """Time the map, compare it, and time the answers that stand on it."""
    grid = grid_of(home)
    report("map of 20 years x 40 arrays x 60 banks", lambda: by_spectrum(grid))
    _memory_line(home, grid.bank_kwh.tolist())
    _equal_lines(grid)
    _c_lines(grid)
    _numpy_line(grid)
    _python_line(grid)
    _answer_lines(home)


def grid_of(home: Household, banks_kwh: list[float] | None = None) -> Grid:
    """Return the grid of a household's first supply, on the banks of its page where none are given [kWh]."""
    supply, month = home.supplies()[0], darkest_month(home.site, home.sun)
    series = made_years(home.site, home.sun, YEARS)
    found = fitted(home, supply, series, month).found
    banks = banks_kwh or many_winters(home, supply, series, month).map.bank_kwh
    return Grid(found=found, times=TIMES, bank_kwh=np.array(banks))


def by_spectrum(grid: Grid) -> Cells:
    """Return the cells by the depth spectrum, one array after the other."""
    columns = (grid.found.spectrum(times, 0.0) for times in grid.times)
    cells = [(one.short_kwh(grid.bank_kwh), one.dark_spells(grid.bank_kwh)) for one in columns]
    return np.array([short for short, _ in cells]), np.array([spells for _, spells in cells], dtype=np.float64)


def _memory_line(home: Household, banks_kwh: list[float]) -> None:
    held = most_held_mib(lambda: by_spectrum(grid_of(home, banks_kwh)))
    tell_at_most("map, most held, its hours included", held, "MiB", 60.0)


def _equal_lines(grid: Grid) -> None:
    """Compare all cells with stepping through all hours."""
    short, spells = by_spectrum(grid)
    stepped, stepped_spells = by_numpy(grid, grid.found.winters.sun_w.size)
    off = np.abs(short - stepped)
    relative = float(np.divide(off, stepped, out=np.where(off > 0.0, np.inf, 0.0), where=stepped > 0.0).max())
    cells = {"cells": short.size, "most_kwh_off": float(f"{off.max():.2g}")}
    name = "map against stepping, worst relative difference"
    tell(name, float(f"{relative:.2g}"), "-", RELATIVE_GOAL, relative <= RELATIVE_GOAL, **cells)
    unequal = int((spells != stepped_spells).sum())
    tell("map against stepping, cells with other dark spells", unequal, "cells", 0, unequal == 0, cells=short.size)


def _c_lines(grid: Grid) -> None:
    """Compare with a C loop, as fast as this machine runs it and for any machine of its kind."""
    compiler = c_compiler()
    if compiler is None:
        tell("map, C loop over spectrum", None, "times", 8.0, note="no C compiler here")
        return
    with tempfile.TemporaryDirectory() as folder:
        banks = grid.bank_kwh.size
        native, plain = by_c(compiler, Path(folder), banks), by_c(compiler, Path(folder), banks, ())
        _ratio_line("map, C loop (-O3 -march=native) over spectrum", grid, lambda: native(grid), 9, 8.0)
        _ratio_line("map, C loop (-O3) over spectrum", grid, lambda: plain(grid), 5)
        ours, theirs = by_spectrum(grid), native(grid)
        same = np.allclose(ours[0], theirs[0], rtol=RELATIVE_GOAL, atol=0.0) and np.array_equal(ours[1], theirs[1])
        tell("map, C loop gives the same cells", same, "-", passed=same)


def _numpy_line(grid: Grid) -> None:
    hours = grid.found.winters.sun_w.size // STEPPED_SHARE
    note = f"the first {YEARS // STEPPED_SHARE} of {YEARS} years, all arrays and banks, scaled"
    name = "map, numpy stepping over spectrum"
    _ratio_line(name, grid, lambda: by_numpy(grid, hours), 5, 60.0, scale=STEPPED_SHARE, note=note)


def _python_line(grid: Grid) -> None:
    work = [(grid.found.net_kwh(grid.times[a], 0.0).tolist(), float(grid.bank_kwh[b])) for a, b in PYTHON_CELLS]
    cells = len(grid.times) * grid.bank_kwh.size
    note = f"plain Python on {len(work)} of {cells} cells, scaled"
    scale = cells / len(work)
    name = "map, plain Python over spectrum"
    _ratio_line(name, grid, lambda: [by_python(*one) for one in work], 5, scale=scale, note=note)


def _ratio_line(
    name: str,
    grid: Grid,
    other: Callable[[], object],
    repeats: int,
    goal: float | None = None,
    scale: float = 1.0,
    note: str = "all hours, arrays and banks",
) -> None:
    """Print how many times longer another way takes than the spectrum."""
    other()
    pairs = [(seconds(lambda: by_spectrum(grid)), scale * seconds(other)) for _ in range(repeats)]
    ratio = statistics.median(theirs / ours for ours, theirs in pairs)
    ours_ms, theirs_ms = (round(statistics.median(side) * 1000, 1) for side in zip(*pairs, strict=True))
    tell(name, round(ratio, 2), "times", goal, spectrum_ms=ours_ms, other_ms=theirs_ms, note=note)


def _answer_lines(home: Household) -> None:
    """Time the answer of the page on its thirty winters, and its size tried on the full cell model."""
    supply, month = home.supplies()[0], darkest_month(home.site, home.sun)
    series = made_years(home.site, home.sun)
    report("winters answer", lambda: many_winters(home, supply, series, month), 1000.0)
    fit = fitted(home, supply, series, month)
    report(f"confirming, {fit.near.id}", lambda: list(confirming(fit, fit.near)), repeats=3)
