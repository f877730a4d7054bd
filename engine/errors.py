"""The errors a calculation may end in; every text is written for the householder."""

from __future__ import annotations


class InputError(ValueError):
    """An input outside the range the model holds for.

    Parameters
    ----------
    field : str
        Dotted name of the field to change, for example ``banks.0.series``.
    message : str
        One sentence naming the field, the value, the limit and the unit.
    others : tuple of InputError
        Further faults found in the same reading, so that one page can list all of them.
    """

    def __init__(self, field: str, message: str, others: tuple[InputError, ...] = ()) -> None:
        super().__init__(message)
        self.field = field
        self.message = message
        self.others = others

    def every(self) -> tuple[InputError, ...]:
        """Return this fault and the others found with it, in order."""
        return (self, *self.others)

    def under(self, prefix: str) -> InputError:
        """Return the same faults with `prefix` before each field name."""
        first, *rest = (InputError(f"{prefix}.{e.field}", e.message) for e in self.every())
        return InputError(first.field, first.message, tuple(rest))


class NewerFormat(InputError):
    """A document of a format that only a newer program reads."""


class Unreachable(ValueError):
    """No size, setting or time can do what was asked; the text says why."""
