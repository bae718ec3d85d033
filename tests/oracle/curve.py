"""The degree-days of a day by numerical integration of its temperature curve.

Nothing here knows a closed form: the curve and the rate of development are written down as they
are defined, and scipy integrates the rate over the day. The day is split where the curve turns and
where it crosses a threshold, so that each piece is smooth.
"""

from functools import lru_cache
from math import acos, cos, fsum, pi
from typing import NamedTuple

from scipy.integrate import quad

CUTOFFS = ("none", "horizontal", "intermediate", "vertical")
METHODS = ("single-sine", "double-sine", "single-triangle", "double-triangle")


class Thresholds(NamedTuple):
    lower: float
    upper: float


def thresholds(unit):
    """The navel orangeworm's thresholds, 55 and 94 °F, as numbers of a unit."""
    return Thresholds(55.0, 94.0) if unit == "f" else Thresholds((55 - 32) / 1.8, (94 - 32) / 1.8)


def day(method, cutoff, limits, tmin, tmax, next_min=None):
    """Degree-days of one day. The intermediate cutoff is not below zero for any whole curve: the
    day's for the single methods, each half of the double ones as if it made a day of its own."""
    shape = method.removeprefix("single-").removeprefix("double-")
    rising = half(shape, cutoff, limits, tmin, tmax)
    if method.startswith("single"):
        return max(0.0, rising + half(shape, cutoff, limits, tmax, tmin))
    falling = half(shape, cutoff, limits, tmax, next_min)
    return max(0.0, rising) + max(0.0, falling)


def days(method, cutoff, limits, extremes):
    """Degree-days of (tmin, tmax) days in a row; a double method has none for the last."""
    if method.startswith("single"):
        return [day(method, cutoff, limits, *both) for both in extremes]
    followed = zip(extremes, extremes[1:])
    return [day(method, cutoff, limits, *both, after[0]) for both, after in followed]


@lru_cache(maxsize=None)
def half(shape, cutoff, limits, start, end):
    """Integral of the rate of development over half a day, from one extreme to the next."""
    inside = (crossing(shape, start, end, limit) for limit in limits)
    edges = [0.0, *sorted(t for t in inside if t is not None), 0.5]
    pieces = zip(edges, edges[1:])

    def rate_at(t):
        return rate(cutoff, limits, temperature(shape, start, end, t))

    return fsum(quad(rate_at, a, b, epsabs=1e-12, epsrel=1e-12)[0] for a, b in pieces)


def temperature(shape, start, end, t):
    """The curve, t in days since its first extreme."""
    if shape == "triangle":
        return start + (end - start) * 2 * t
    return (start + end) / 2 + (start - end) / 2 * cos(2 * pi * t)


def crossing(shape, start, end, limit):
    """When the curve passes a threshold between its extremes, if it does."""
    if not min(start, end) < limit < max(start, end):
        return None
    share = (limit - start) / (end - start)
    return share / 2 if shape == "triangle" else acos(1 - 2 * share) / (2 * pi)


def rate(cutoff, limits, t):
    """Development at a temperature, in degrees above the lower threshold."""
    if t <= limits.lower:
        return 0.0
    if t <= limits.upper or cutoff == "none":
        return t - limits.lower
    full = limits.upper - limits.lower
    return {
        "horizontal": full,
        "intermediate": full - (t - limits.upper),
        "vertical": 0.0,
    }[cutoff]
