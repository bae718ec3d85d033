"""Simulated blocks on the record of a real station, as a farm of the program."""

import csv
from dataclasses import dataclass
from datetime import timedelta

from generations import CHECK_DAYS, civil
from orchard import Orchard, block

TRAPS = 3  # egg traps of a block whose start they decide: the fewest that can
CLEAN_CHECKS, CHECKS_WITH_EGGS = 3, 2  # a baseline and two checks after it; the two that confirm the start
SPLIT_EXPECTED_ON = 90  # 1 April


@dataclass
class Block:
    """A block, and for each season the day on which its first hull split is seen."""

    name: str
    by_traps: bool
    splits: list


def orchard_of(folder, insects, record, seasons, blocks):
    """The blocks as a farm whose temperatures, readings and notes of all seasons the program has taken in."""
    with record.open(newline="") as file:
        days = [{"date": row["date"], "min": row["tmin_c"], "max": row["tmax_c"]} for row in csv.DictReader(file)]
    farm = Orchard(folder, insects, {record.stem: days}, civil(seasons[-1].year, 364))

    def rows(of_year):
        years = [(of, season, split) for of in blocks for season, split in zip(seasons, of.splits)]
        return [row for year in years for row in of_year(*year)]

    farm.declare([block(of.name, record.stem) for of in blocks], rows(traps_of))
    farm.enter(rows(visits_of), rows(notes_of))
    return farm


def traps(of, season):
    return [f"{of.name}-{season.year}-{at}" for at in range(TRAPS)] if of.by_traps else []


def checks(season):
    """The days on which egg traps are read: the start is the first with eggs."""
    start = civil(season.year, season.start)
    return [start + timedelta(check * CHECK_DAYS) for check in range(-CLEAN_CHECKS, CHECKS_WITH_EGGS)]


def traps_of(of, season, _):
    hung = checks(season)[0] - timedelta(CHECK_DAYS)
    for trap in traps(of, season):
        yield {"id": trap, "block": of.name, "kind": "egg", "hung": hung, "removed": civil(season.year, 300)}


def visits_of(of, season, _):
    for at, trap in enumerate(traps(of, season)):
        for check, date in enumerate(checks(season)):
            eggs = max(0, check - CLEAN_CHECKS + 1) * (3 + at)
            yield {"date": date, "trap": trap, "eggs": eggs}


def notes_of(of, season, split):
    def note(day, variety, kind, value=None, why=""):
        value = "" if value is None else civil(season.year, value)
        date = civil(season.year, day)
        return {"date": date, "block": of.name, "variety": variety, "kind": kind, "value": value, "note": why}

    if not of.by_traps:
        yield note(season.start, "", "egg-laying-start", season.start, "from the block's own book")
    yield note(SPLIT_EXPECTED_ON, "Nonpareil", "hull-split-expected", season.split)
    yield note(split, "Nonpareil", "hull-split")
