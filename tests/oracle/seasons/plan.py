"""The kinds of season, their seeds, and one season from its seed."""

from dataclasses import dataclass

import numpy as np

from . import parameters as p
from . import population, traps, weather

# Chosen on the first, shown on the second; with the station years to go with them.
DEVELOPMENT = {"seeds": range(1_000, 2_000), "years": (1990, 2004)}
REPORTING = {"seeds": range(700_000, 701_000), "years": (2005, 2020)}

# Kind, and what it is about.
KINDS = {
    "plain": "an ordinary season of a conventional block",
    "two-humps": "a first flight with two peaks two to three weeks apart",
    "missed": "many rounds and traps missed",
    "wet": "bait of egg traps gets wet",
    "stray": "single eggs stray over the traps before the start",
    "saturated": "liners are not changed when they are full",
    "lapsed": "lures and baits serve far past their life",
    "combined": "mating disruption, combined traps unsexed",
    "bags": "mating disruption, bait bags sexed",
    "none": "no flight and no eggs but strays",
}
MOTH_TRAPS = {"combined": "pheromone-ppo", "bags": "bait-bag"}
MOTH_TRAP_SHARE = {"combined": p.COMBINED_CATCH, "bags": p.BAG_CATCH}
DISRUPTED = frozenset(MOTH_TRAPS)


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
    """Moths a trap and night at the block's own kind of trap, with those that come from elsewhere."""
    share = MOTH_TRAP_SHARE.get(kind, 1.0) * (traps.bag_fade(np.arange(len(moths))) if kind == "bags" else 1.0)
    return (moths + p.VAGRANTS) * share


def egg_rate(kind, eggs):
    """Eggs a trap and night, with strays."""
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
    nature = population.draw(rng, *levels(kind, level), two_humps=kind == "two-humps")
    eggs = egg_rate(kind, nature.eggs_laid(heat))
    if kind in DISRUPTED:
        eggs = eggs * rng.uniform(*p.EGGS_LEFT)
    moths = moth_rate(kind, nature.moths(heat))
    split = traps.day_of(p.HULL_SPLIT) + round(rng.normal(0, p.HULL_SPLIT_SPREAD_DAYS))
    of_kind = MOTH_TRAPS.get(kind, "pheromone")
    return Season(
        kind, level, seed, station, year,
        traps.read_traps("egg", egg_traps, eggs, kind, rng),
        traps.read_traps(of_kind, moth_traps, moths, kind, rng),
        split, nature, [] if kind == "none" else nature.truth(heat),
    )
