"""How many times a bank must be taken to give an energy, when more of it also works less hard."""

from __future__ import annotations

from collections.abc import Callable

_TRIES = 100
_NEAR_SHARE = 1e-9


def scale_for(usable_kwh: Callable[[float], float], wanted_kwh: float, most: float) -> float | None:
    """Find the scale at which a bank gives `wanted_kwh`.

    Parameters
    ----------
    usable_kwh : callable
        Energy that the bank times a scale gives [kWh]; per scale it does not fall as the scale grows.
    wanted_kwh : float
        Energy asked for [kWh], > 0.
    most : float
        Largest scale to try.

    Returns
    -------
    float or None
        The scale; None if even `most` does not give it.

    Examples
    --------
    >>> round(scale_for(lambda scale: 4.0 * scale - 1.0, 7.0, 10.0), 6)
    2.0
    >>> scale_for(lambda scale: 4.0 * scale, 70.0, 10.0) is None
    True
    """
    scale = 1.0
    for _ in range(_TRIES):
        given_kwh = usable_kwh(scale)
        better = scale * wanted_kwh / given_kwh if given_kwh > 0.0 else 2.0 * scale
        if better > most:
            return None
        if abs(better - scale) <= _NEAR_SHARE * scale:
            return better
        scale = better
    return None
