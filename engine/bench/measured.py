"""From a bench test of one cell to its usable-capacity curve and its own chemistry: all there is, in one place.

A charge without a hold that stops at some volts is the same run as one that passes them on its way up, so one
logged constant-current charge gives the whole column without a hold; the resistance moves it to a hold and to any
other current. `measured_table` and `measured_log` read a test, `measured_cell` answers from it, `resistance` and
`measured_curve` are the method, `measured_chemistry` hands it to a bank.
"""

from engine.bench.measured_cell import (
    BenchRow,
    HeldCheck,
    MeasuredCell,
    above_measured,
    band_at,
    bench_rows,
    c_rate_of,
    is_no_hold,
    nothing_below_v,
    share_at,
    share_of,
)
from engine.bench.measured_chemistry import chemistry_of
from engine.bench.measured_log import from_charge, from_charge_and_discharge, from_two_charges
from engine.bench.measured_table import from_table
from engine.bench.resistance import Resistance
from engine.bench.traces import CurrentStep, Hold, Trace

__all__ = [
    "BenchRow",
    "CurrentStep",
    "HeldCheck",
    "Hold",
    "MeasuredCell",
    "Resistance",
    "Trace",
    "above_measured",
    "band_at",
    "bench_rows",
    "c_rate_of",
    "chemistry_of",
    "from_charge",
    "from_charge_and_discharge",
    "from_table",
    "from_two_charges",
    "is_no_hold",
    "nothing_below_v",
    "share_at",
    "share_of",
]
