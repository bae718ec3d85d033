"""What flies and lays: generations as mixtures of normal curves along the degree-day axis."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from . import parameters as p

START, END = 0.05, 0.95


@dataclass(frozen=True)
class Truth:
    """Days of the year, 0 for 1 January; None where the year ends first. The generation's eggs start
    on `eggs`, its flight on `start`."""

    eggs: int | None
    start: int | None
    peak: int | None
    end: int | None


@dataclass(frozen=True)
class Nature:
    """One season's moths. Each generation is a mixture of humps: (°F-days since 1 January, spread,
    share); the catch and egg levels are per trap per night at the height of the first one."""

    generations: tuple
    sizes: tuple
    catch: float
    eggs: float

    def emerged(self, generation, level):
        """Share of a generation's adults that have come out by each level of heat."""
        return sum(share * ndtr((level - at) / spread) for at, spread, share in self.generations[generation])

    def laid(self, generation, level):
        """Share of its eggs that have been laid."""
        return sum(share * ndtr((level - at - p.LAID_AFTER) / np.hypot(spread, p.LAID_SPREAD))
                   for at, spread, share in self.generations[generation])

    def moths(self, level):
        """Moths per trap per night, by day, in a pheromone trap that loses none."""
        wing = [on_the_wing(self.emerged(g, level)) for g in range(len(self.generations))]
        return self.catch * self.scaled(wing)

    def eggs_laid(self, level):
        """Eggs per trap per night, by day, on an egg trap that loses none."""
        laid = [np.diff(self.laid(g, level), prepend=0) for g in range(len(self.generations))]
        return self.eggs * self.scaled(laid)

    def scaled(self, curves):
        return sum(size * curve for size, curve in zip(self.sizes, curves)) / max(curves[0].max(), 1e-9)

    def truth(self, level):
        """The days of each generation."""
        return [Truth(reached(self.laid(g, level), START), *flight(self.emerged(g, level)))
                for g in range(len(self.generations))]


def on_the_wing(emerged):
    gone = np.concatenate([np.zeros(p.NIGHTS_ON_THE_WING), emerged[:-p.NIGHTS_ON_THE_WING]])
    return emerged - gone


def reached(share, needed):
    """The first day by whose end a share is reached."""
    return int((share >= needed).argmax()) if share[-1] >= needed else None


def flight(emerged):
    start, half, end = (reached(emerged, share) for share in (START, 0.5, END))
    peak = int(np.diff(emerged, prepend=0).argmax()) if half is not None else None
    return start, peak, end


def draw(rng, catch, eggs, shape):
    """One season's moths around nominal levels; a level of zero is a season without any. `shape` is what the
    first flight looks like: "one" hump, "two", or one with a "trickle" before it."""
    at = rng.normal(p.FIRST_PEAK_HEAT, p.FIRST_PEAK_BETWEEN_SEASONS)
    generations = [first_humps(rng, at, shape)]
    for heat in (p.ON_MUMMIES, p.ON_NEW_NUTS, p.ON_NEW_NUTS):
        heat = rng.normal(heat, p.GENERATION_BETWEEN_SEASONS)
        spreads = p.LAID_SPREAD, p.GENERATION_SPREAD
        generations.append(tuple((at + p.LAID_AFTER + heat, np.hypot(spread, np.hypot(*spreads)), share)
                                 for at, spread, share in generations[-1]))
    sizes = np.array(p.SIZES) * np.exp(rng.normal(0, p.SIZE_SPREAD, len(p.SIZES)))
    around = np.exp(rng.normal(0, p.LEVEL_SPREAD, 2))
    return Nature(tuple(generations), (1.0, *sizes[1:]), catch * around[0], eggs * around[1])


def first_humps(rng, at, shape):
    """The humps of the overwintered generation around a level of heat."""
    if shape == "two":
        apart, share = rng.uniform(*p.HUMPS_APART), rng.uniform(*p.HUMP_SHARE)
        return (at - apart / 2, p.HUMP_SPREAD, share), (at + apart / 2, p.HUMP_SPREAD, 1 - share)
    spread = rng.uniform(*p.FIRST_SPREAD)
    if shape == "trickle":
        share, before = rng.uniform(*p.TRICKLE_SHARE), rng.uniform(*p.TRICKLE_BEFORE)
        return (at - before, p.TRICKLE_SPREAD, share), (at, spread, 1 - share)
    return ((at, spread, 1.0),)


def activity(rng, days, begins):
    """The share of a day's moths that fly and lay, by day, with a cold spell soon after a day."""
    active = np.ones(days)
    first = begins + rng.integers(*p.COLD_AFTER)
    active[first : first + rng.integers(*p.COLD_DAYS)] = p.COLD_LEFT
    return active
