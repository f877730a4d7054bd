"""Time what people wait for and what it is held against, one JSON line each (see `timing`)."""

from __future__ import annotations

import argparse
import os
import sys

import numpy as np

from benchmarks.bench_lines import bench_lines
from benchmarks.engine_lines import engine_lines
from benchmarks.load_lines import load_lines
from benchmarks.log_lines import log_lines
from benchmarks.server_lines import server_lines
from benchmarks.sky_lines import sky_lines
from benchmarks.spectrum_lines import spectrum_lines
from benchmarks.timing import tell
from engine.house import household
from engine.paths import data_dir


def main() -> None:
    """Run every benchmark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--engine-only", action="store_true", help="leave the server out")
    parser.add_argument("--log-only", action="store_true", help="only a year of a meter’s minutes")
    parser.add_argument("--load-only", action="store_true", help="only many clients at once")
    parser.add_argument("--load-s", type=float, default=60.0, metavar="SECONDS", help="of each round of them (60)")
    options = parser.parse_args()
    tell("machine", os.cpu_count(), "cores", python=sys.version.split()[0], numpy=np.__version__)
    if options.log_only:
        log_lines()
        return
    if options.load_only:
        load_lines(options.load_s)
        return
    home = household.read((data_dir() / "example.json").read_text(encoding="utf-8"))
    engine_lines(home)
    sky_lines(home)
    bench_lines(home)
    spectrum_lines(home)
    log_lines(server=not options.engine_only)
    if not options.engine_only:
        server_lines()
        load_lines(options.load_s)


if __name__ == "__main__":
    main()
