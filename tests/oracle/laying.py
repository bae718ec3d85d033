"""The estimate of the day on which egg laying begins, once more, with scipy's distributions.

Eggs are laid along a normal hump of degree-days since 1 January; laying has begun once a twentieth of them is
laid. A trap's count of some nights is a negative binomial around what the hump and strays give. Every
combination of the numbers below is weighed, beside that nothing begins. The readings of a trap are
(day hung or cleared before, day read, eggs), baselines left out; `heat` is that by the beginning of each day.
"""

import itertools

import numpy as np
from scipy.stats import nbinom, norm

WIDTHS = np.linspace(70, 190, 4)
EGGS = np.geomspace(3, 300, 9)
STRAYS = (0.002, 0.01, 0.05)
SHAPES = (0.4, 1.0)
CELLS = 40
NOTHING = 0.1
UNTIL = 1000.0


def logpmf(eggs, mean, shape):
    return nbinom.logpmf(eggs, shape, shape / (shape + mean))


def chances(readings, heat, earliest):
    """The bounds of the cells, and the chance that laying began before each."""
    edges = np.linspace(heat[earliest], UNTIL, CELLS + 1)
    begins = (edges[1:] + edges[:-1]) / 2
    readings = [reading for reading in readings if heat[reading[1]] < UNTIL]
    combinations = list(itertools.product(WIDTHS, EGGS, STRAYS, SHAPES))
    hump = np.zeros((len(combinations), CELLS))
    for at, (width, all_eggs, rate, shape) in enumerate(combinations):
        middle = begins - norm.ppf(0.05) * width
        for since, day, eggs in readings:
            share = norm.cdf(heat[day], middle, width) - norm.cdf(heat[since], middle, width)
            hump[at] += logpmf(eggs, all_eggs * share + rate * (day - since), shape)
    strays = np.array([sum(logpmf(eggs, rate * (day - since), shape) for since, day, eggs in readings)
                       for rate, shape in itertools.product(STRAYS, SHAPES)])
    highest = max(hump.max(), strays.max())
    prior = np.diff(np.sqrt(edges)) / (np.sqrt(edges[-1]) - np.sqrt(edges[0]))
    of_cell = (1 - NOTHING) * prior * np.exp(hump - highest).mean(axis=0)
    nothing = NOTHING * np.exp(strays - highest).mean()
    before = np.concatenate([[0], np.cumsum(of_cell)])
    return edges, before / (before[-1] + nothing)


def estimate(readings, heat, earliest, as_of):
    """The chance that laying has begun by a day, and first, middle and last day of its range, or None while
    it has likelier not begun."""
    edges, before = chances(readings, heat, earliest)
    levels = np.interp(np.array([0.1, 0.5, 0.9]) * before[-1], before, edges)
    chance = float(np.interp(heat[as_of], edges, before))
    days = [min(int((heat <= level).sum()) - 1, as_of) for level in levels]
    return chance, days if chance >= 0.5 else None
