"""Greyspell's calculation, without its pages: `import engine`, read a household document, ask.

The names below are those of `engine.public`, which says what each takes, gives and refuses; they are loaded when first
asked for, so that a start of the pages waits for none of them. Other modules may change without notice.

Examples
--------
>>> import engine
>>> engine.Household.__name__
'Household'
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from engine.public import (
        Autonomy,
        BenchLogReading,
        BenchRow,
        Chemistry,
        Comparison,
        Household,
        InputError,
        Sizing,
        Sky,
        Unreachable,
        days_to_come,
        end_volts,
        how_long,
        plain_data,
        rainy_week,
        read_bench_log,
        read_household,
        size_bank,
        write_household,
    )

__all__ = [
    "Autonomy",
    "BenchLogReading",
    "BenchRow",
    "Chemistry",
    "Comparison",
    "Household",
    "InputError",
    "Sizing",
    "Sky",
    "Unreachable",
    "days_to_come",
    "end_volts",
    "how_long",
    "plain_data",
    "rainy_week",
    "read_bench_log",
    "read_household",
    "size_bank",
    "write_household",
]


def __getattr__(name: str) -> object:
    if name in __all__:
        return getattr(import_module("engine.public"), name)
    raise AttributeError(f"module 'engine' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
