"""What is caught and read: visits of the traps of one block, with all that goes wrong."""

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from . import parameters as p

YEAR = 2021  # all seasons are laid on the calendar of this one
LIVES = {
    "egg": {"bait": p.EGG_BAIT_LIFE},
    "pheromone": {"lure": p.LURE_LIFE, "liner": p.LINER_LIFE},
    "pheromone-ppo": {"lure": p.LURE_LIFE, "ppo": p.PPO_LIFE, "liner": p.LINER_LIFE},
    "bait-bag": {"bait": p.BAG_BAIT_LIFE, "liner": p.LINER_LIFE},
}
COUNTS = {"egg": "eggs", "pheromone": "males", "pheromone-ppo": "moths", "bait-bag": "females"}


def day_of(month_day):
    return (date(YEAR, *month_day) - date(YEAR, 1, 1)).days


def civil(day):
    return date(YEAR, 1, 1) + timedelta(day)


@dataclass
class Visit:
    """One visit; a count of None was not read."""

    day: int
    count: int | None
    serviced: tuple = ()


@dataclass
class Trap:
    """A trap with its visits, and what state it is in as the season goes."""

    kind: str
    hung: int
    put_in: dict
    better: float = 1.0
    wet: bool = False
    on_liner: int = 0
    visits: list = field(default_factory=list)

    def efficiency(self, day):
        """Share of its catch that the age of its parts leaves, liner apart."""
        past = [day - self.put_in[part] - life for part, life in LIVES[self.kind].items() if part != "liner"]
        faded = 0.5 ** (max(0, *past) / p.HALF_AS_GOOD_AFTER) if past else 1.0
        return faded * (p.WET_BAIT_CATCHES if self.wet else 1.0)


def liner_efficiency(held):
    """Share of its catch that a liner with so many moths still takes."""
    return min(1.0, (p.LINER_FULL / max(held, 1)) ** p.LINER_POWER)


def bag_fade(days):
    """Share of its catch that a bait bag keeps as new nuts split."""
    since = np.maximum(days - day_of(p.BAG_FADES_FROM), 0)
    return np.maximum(0.5 ** (since / p.BAG_HALVES_IN), p.BAG_LEFT)


def rounds(hung, read_to, steps):
    """The days of the rounds after a day: the steps in turn."""
    days, day = [], hung
    while (day := day + steps[len(days) % len(steps)]) <= day_of(read_to):
        days.append(day)
    return days


def egg_rounds():
    """The days of the rounds of egg traps: twice a week in spring, then weekly."""
    spring = rounds(day_of(p.EGG_TRAPS_HUNG), p.EGG_TRAPS_TWICE_A_WEEK_TO, p.EGG_TRAP_DAYS)
    return spring + rounds(spring[-1], p.EGG_TRAPS_READ_TO, p.WEEKLY)


def catch(trap, nights, rate, shape, rng):
    """The count of some nights: a skewed share of the rate, night by night while the liner fills."""
    luck = rng.gamma(shape, 1 / shape) * trap.better
    expected = [rate[night] * luck * trap.efficiency(night) for night in nights]
    if trap.kind == "egg" or trap.on_liner + 2 * sum(expected) < p.LINER_FULL / 2:
        count = int(rng.poisson(sum(expected)))
        trap.on_liner += count
        return count
    before = trap.on_liner
    for mean in expected:
        trap.on_liner += int(rng.poisson(mean * liner_efficiency(trap.on_liner)))
    return trap.on_liner - before


def service(trap, day, kind, rng):
    """The parts replaced at a visit: those at the end of their life, and a full liner."""
    due = {part for part, life in LIVES[trap.kind].items() if day - trap.put_in[part] >= life}
    if trap.on_liner >= p.LINER_FULL and trap.kind != "egg" and kind != "saturated":
        due.add("liner")
    forgotten = p.SERVICE_FORGOTTEN["lapsed" if kind == "lapsed" else "ordinary"]
    return {part for part in sorted(due) if rng.random() >= forgotten}


def hang(kind_of_trap, rng):
    """One trap, not yet read."""
    egg = kind_of_trap == "egg"
    hung = day_of(p.EGG_TRAPS_HUNG if egg else p.MOTH_TRAPS_HUNG)
    better = rng.gamma(p.EGG_TRAP_SHAPE, 1 / p.EGG_TRAP_SHAPE) if egg else 1.0
    return Trap(kind_of_trap, hung, {part: hung for part in LIVES[kind_of_trap]}, better)


def read_traps(kind_of_trap, count, rate, kind, rng):
    """So many traps of a kind with their visits of the season; `rate` is per trap per night, by day."""
    traps = [hang(kind_of_trap, rng) for _ in range(count)]
    egg = kind_of_trap == "egg"
    days = egg_rounds() if egg else rounds(day_of(p.MOTH_TRAPS_HUNG), p.MOTH_TRAPS_READ_TO, p.WEEKLY)
    strayed_on = rng.integers(count) if egg and kind == "baseline" else None
    # A week's weather is the same for all traps, whether they are read or not.
    week = np.repeat(np.exp(rng.normal(-p.WEEK_SPREAD**2 / 2, p.WEEK_SPREAD, 53)), 7)[: len(rate)]
    rate = rate if egg else rate * week
    chance = {name: table.get(kind, table["ordinary"]) for name, table in
              (("round", p.ROUND_MISSED), ("trap", p.TRAP_MISSED), ("wet", p.BAIT_GETS_WET))}
    for day in days:
        if rng.random() < chance["round"]:
            continue
        for trap in traps:
            if rng.random() >= chance["trap"]:
                visit(trap, day, rate, kind, chance["wet"], rng)
    if strayed_on is not None and traps[strayed_on].visits:
        first = traps[strayed_on].visits[0]
        first.count = (first.count or 0) + 1
    return traps


def visit(trap, day, rate, kind, wet_chance, rng):
    """Reads one trap and services it."""
    since = trap.visits[-1].day if trap.visits else trap.hung
    count = catch(trap, range(since, day), rate,
                  p.EGGS_SHAPE if trap.kind == "egg" else p.MOTHS_SHAPE, rng)
    replaced = service(trap, day, kind, rng)
    readable = rng.random() >= p.UNREADABLE
    if trap.kind == "egg":
        trap.wet = trap.wet or bool(rng.random() < wet_chance)
        if trap.wet and rng.random() < p.WET_BAIT_NOTICED:
            readable, replaced = False, replaced | {"bait"}
    for part in replaced:
        trap.put_in[part] = day
    trap.wet = trap.wet and "bait" not in replaced
    trap.on_liner = 0 if "liner" in replaced else trap.on_liner
    trap.visits.append(Visit(day, count if readable else None, tuple(sorted(replaced))))
