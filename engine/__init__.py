"""Greyspell's calculation, without its pages: `import engine`, read a household document, ask.

Its names are those that `engine.public` lists and says of what each takes, gives and refuses; they are loaded when
first asked for, so that a start of the pages waits for none of them. Other modules may change without notice.

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
    from engine.public import *  # noqa: F403


def __getattr__(name: str) -> object:
    if name == "__all__" or not name.startswith("_"):
        public = import_module("engine.public")
        if name == "__all__" or name in public.__all__:
            return getattr(public, name)
    raise AttributeError(f"module 'engine' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *import_module("engine.public").__all__})
