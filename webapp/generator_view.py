"""The days with a generator in words, and its line beside the bank's own.

Times are on the household's clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from markupsafe import Markup

from engine.answers.generating import WithGenerator
from engine.house.generator import Generator
from engine.sky.site import Site
from engine.text.dates import clock_hour
from webapp.chart_parts import Curve
from webapp.questions import civil_times
from webapp.render import NO_BREAK, fixed, percent
from webapp.words import counted, duration, energy, in_sentence, number, stamp

NOTHING_KWH = 0.005
BESIDE_NAME = "with the generator"


@dataclass(frozen=True, slots=True, kw_only=True)
class GeneratorView:
    """One bank's days with its generator as the page shows them; `column` fits the rows of the bank's own table."""

    told: WithGenerator
    sentence: Markup
    basis: str
    line: Curve | None
    column: tuple[str, ...]


def generator_view(
    answer: WithGenerator, generator: Generator, site: Site, start: datetime, hours: Sequence[float], days: int
) -> GeneratorView:
    """Return the view of an answer that is on the household's clock.

    Parameters
    ----------
    start : datetime
        The moment asked about, local standard time.
    hours : sequence of float
        Hours after `start` at which the bank's own charge is listed [h].
    days : int
        Days the answer touches.
    """
    charges = np.interp(hours, answer.times_h, answer.soc) * 100.0
    line = None
    if answer.first_start_h is not None:
        shown = (answer.times_h >= answer.first_start_h - 1e-6) & (answer.times_h <= hours[-1] + 1e-6)
        shares = tuple((answer.soc[shown] * 100.0).tolist())
        times = civil_times(site, start, answer.times_h[shown].tolist())
        line = Curve(name=BESIDE_NAME, times=times, percent=shares) if len(times) > 1 else None
    return GeneratorView(
        told=answer,
        sentence=sentence(answer, generator, days),
        basis=_basis(answer, generator),
        line=line,
        column=tuple(f"{share:.1f}" for share in charges),
    )


def sentence(answer: WithGenerator, generator: Generator, days: int) -> Markup:
    """Say when it first starts, how long it runs, what it burns and what is short all the same."""
    name = in_sentence(generator.name)
    if answer.first_start_at is None or answer.first_start_h is None:
        return Markup("{} is <strong>not due in these {} days</strong>.").format(_capital(name), number(days))
    due = (
        Markup("{} would start <strong>now</strong>").format(_capital(name))
        if answer.first_start_h < 1.0 / 60.0
        else Markup("{} first starts in <strong>{}</strong>, {}").format(
            _capital(name), duration(answer.first_start_h), stamp(answer.first_start_at)
        )
    )
    return Markup("{}; over these {} days it runs <strong>{}</strong> in {} and burns <strong>{}</strong>{}").format(
        due,
        number(days),
        duration(answer.run_h),
        counted(answer.starts, "start"),
        litres(answer.litres),
        _short(answer, generator),
    )


def _short(answer: WithGenerator, generator: Generator) -> str:
    if answer.unserved_kwh < NOTHING_KWH:
        return ". With it nothing goes unserved." if answer.unserved_without_kwh >= NOTHING_KWH else "."
    first = ""
    if answer.ends_at is not None:
        quiet = generator.is_quiet(answer.ends_at.hour + answer.ends_at.minute / 60.0)
        first = f", first {stamp(answer.ends_at)}{', in its quiet hours' if quiet else ''}"
    without = energy(answer.unserved_without_kwh)
    return f". Even so {energy(answer.unserved_kwh)} stay unserved{first}; without it {without}."


def _basis(answer: WithGenerator, generator: Generator) -> str:
    """Its rules, its range and what it gives."""
    by_hand = "" if generator.by_itself else " Somebody has to be there to start it and to stop it."
    quiet = (
        f", never from {clock_hour(generator.quiet_from_h)} to {clock_hour(generator.quiet_to_h)} o’clock"
        if generator.quiet_hours
        else ""
    )
    rules = (
        f"By its rules: from {percent(generator.start_soc)}, the reserve or a cut-off up to "
        f"{percent(generator.stop_soc)}{quiet}.{by_hand}"
    )
    if answer.first_start_h is None and answer.litres_high == 0.0:
        return rules
    low, high = litres(answer.litres_low), litres(answer.litres_high)
    spread = f"{low} to {high}" if low != high else high
    return (
        f"Over the range it burns {spread}. It gives {energy(answer.given_kwh)}, sockets and charging together; the "
        f"lowest charge is {percent(answer.lowest_soc)}. {rules}"
    )


def litres(amount: float) -> str:
    """Write an amount of fuel.

    Examples
    --------
    >>> litres(0.34), litres(9.96), litres(23.7)
    ('0.3\\xa0l', '10.0\\xa0l', '24\\xa0l')
    """
    return f"{fixed(amount, 0 if amount >= 10.0 else 1)}{NO_BREAK}l"


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]
