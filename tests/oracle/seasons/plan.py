"""The kinds of season, their seeds, and one season from its seed."""

from dataclasses import dataclass

import numpy as np

from . import parameters as p
from . import population, traps, weather

# Chosen on the first, shown on the second; with the station years to go with them.
DEVELOPMENT = {"seeds": range(1_000, 2_000), "years": (1990, 2004)}
REPORTING = {"seeds": range(910_000, 911_000), "years": (2005, 2020)}

# Kind, and what it is about.
KINDS = {
    "plain": "an ordinary season of a conventional block",
    "two-humps": "a first flight with two peaks two to three weeks apart",
    "trickle": "a first flight that single moths precede by weeks",
    "cold": "a cold spell soon after laying has begun",
    "baseline": "a stray egg on the first reading of an egg trap",
    "missed": "many rounds and traps missed",
    "wet": "bait of egg traps gets wet",
    "stray": "single eggs stray over the traps before the start",
    "saturated": "liners are not changed when they are full",
    "lapsed": "lures and baits serve far past their life",
    "combined": "mating disruption, combined traps unsexed",
    "bags": "mating disruption, bait bags sexed",
    "near": "a conventional block with disruption near by: pheromone traps shut down, combined ones beside",
    "none": "no flight and no eggs but strays",
}
MOTH_TRAPS = {"combined": "pheromone-ppo", "bags": "bait-bag"}
MOTH_TRAP_SHARE = {"combined": p.COMBINED_CATCH, "bags": p.BAG_CATCH}
DISRUPTED = frozenset(MOTH_TRAPS)
FIRST_FLIGHT = {"two-humps": "two", "trickle": "trickle"}


@dataclass
class Season:
    """One block's season: the readings people have, and the truth they do not."""

    kind: str
    level: str
    seed: int
    station: str
    year: int
    egg_traps: list
    moth_traps: list
    beside_traps: list
    hull_split: int
    nature: population.Nature
    truth: list

    @property
    def name(self):
        return f"{self.kind}-{self.level}-{len(self.egg_traps)}-{self.seed}"

    @property
    def heat(self):
        """Degree-days since 1 January by the end of each day."""
        return weather.level(self.station, self.year)


def moth_rate(kind, moths):
    """Moths per trap per night at the block's own kind of trap, with those that come from elsewhere."""
    share = MOTH_TRAP_SHARE.get(kind, 1.0) * (traps.bag_fade(np.arange(len(moths))) if kind == "bags" else 1.0)
    return (moths + p.VAGRANTS) * share


def shut_down(moths, rng):
    """Males per trap per night at pheromone traps with disruption near by, which wears off in late July."""
    left = np.ones(len(moths))
    left[: traps.day_of(p.NEAR_DISRUPTION_TO)] = rng.uniform(*p.MALES_LEFT_NEAR_DISRUPTION)
    return moths * left


def egg_rate(kind, eggs, split):
    """Eggs per trap per night, with strays; new nuts compete with the traps."""
    eggs = eggs * np.where(np.arange(len(eggs)) >= split, p.EGGS_LEFT_FROM_SPLIT, 1.0)
    return eggs + (p.STRAY_EGGS_OF_A_STRAY_SEASON if kind == "stray" else p.STRAY_EGGS)


def levels(kind, level):
    """Nominal catch and egg levels of a season."""
    return (0.0, 0.0) if kind == "none" else (p.CATCH_LEVELS[level], p.EGG_LEVELS[level])


def season(kind, level, egg_traps, moth_traps, seed, years):
    """The season of a kind, level of catches, number of traps and seed."""
    rng = np.random.default_rng([seed, list(KINDS).index(kind), list(p.CATCH_LEVELS).index(level), egg_traps])
    of_span = weather.station_years(*years)
    station, year = of_span[rng.integers(len(of_span))]
    heat = weather.level(station, year)
    nature = population.draw(rng, *levels(kind, level), FIRST_FLIGHT.get(kind, "one"))
    truth = [] if kind == "none" else nature.truth(heat)
    split = traps.day_of(p.HULL_SPLIT) + round(rng.normal(0, p.HULL_SPLIT_SPREAD_DAYS))
    active = population.activity(rng, len(heat), truth[0].eggs) if kind == "cold" else 1.0
    eggs = egg_rate(kind, nature.eggs_laid(heat) * active, split)
    if kind in DISRUPTED:
        eggs = eggs * rng.uniform(*p.EGGS_LEFT)
    moths = moth_rate(kind, nature.moths(heat) * active)
    egg = traps.read_traps("egg", egg_traps, eggs, kind, rng)
    own = shut_down(moths, rng) if kind == "near" else moths
    moth = traps.read_traps(MOTH_TRAPS.get(kind, "pheromone"), moth_traps, own, kind, rng)
    beside = moth_traps if kind == "near" else 0
    combined = traps.read_traps("pheromone-ppo", beside, moths * p.COMBINED_CATCH, kind, rng)
    return Season(kind, level, seed, station, year, egg, moth, combined, split, nature, truth)
