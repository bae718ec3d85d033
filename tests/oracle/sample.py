"""Days to check: random ones, and every way a day can lie against the thresholds.

The days come as a row of (tmin, tmax), each day's successor giving the double methods their next
minimum.
"""

from itertools import product

import numpy as np

import curve

RANDOM_DAYS = 2000
SHUFFLES = 8


def days(unit):
    """More than 2,000 days, none so hot that the intermediate cutoff counts below zero."""
    limits = curve.thresholds(unit)
    hottest = 2 * limits.upper - limits.lower
    rng = np.random.default_rng(20220415)
    return edges(limits, hottest, rng) + random_days(limits, hottest, rng)


def cool_limits(unit):
    """Thresholds so low that days of this region go beyond what the intermediate cutoff can count."""
    return curve.Thresholds(40.0, 60.0) if unit == "f" else curve.Thresholds(5.0, 15.0)


def hot_days(unit):
    """Days beyond what the intermediate cutoff can count with `cool_limits`, up to the hottest there is."""
    limits = cool_limits(unit)
    hottest = 2 * limits.upper - limits.lower
    highest = 134.0 if unit == "f" else 56.0
    rng = np.random.default_rng(1056)
    tmax = rng.uniform(hottest, highest, 300)
    tmin = tmax - rng.uniform(0, 1.5 * (highest - hottest), 300)
    return list(zip(tmin.tolist(), tmax.tolist()))


def edges(limits, hottest, rng):
    """All pairs of values on, just beside and well away from the thresholds, in shuffled rows so
    that most of their neighbours come about too."""
    lower, upper = limits
    near = (upper - lower) / 400
    levels = [
        lower - 20, lower - near, lower, lower + near, (lower + upper) / 2,
        upper - near, upper, upper + near, upper + 10, hottest,
    ]
    pairs = [pair for pair in product(levels, levels) if pair[0] <= pair[1]]
    return [pairs[at] for _ in range(SHUFFLES) for at in rng.permutation(len(pairs))]


def random_days(limits, hottest, rng):
    """Half of them to the tenth of a degree, as a station reports, half with every digit."""
    spread = limits.upper - limits.lower
    tmax = rng.uniform(limits.lower - spread / 2, hottest, RANDOM_DAYS)
    tmin = tmax - rng.uniform(0, 1.5 * spread, RANDOM_DAYS)
    tenths = np.arange(RANDOM_DAYS) % 2 == 0
    tmax[tenths] = np.floor(tmax[tenths] * 10) / 10
    tmin[tenths] = np.floor(tmin[tenths] * 10) / 10
    return list(zip(tmin.tolist(), tmax.tolist()))
