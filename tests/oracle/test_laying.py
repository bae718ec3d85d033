"""The program's estimate of the egg-laying start beside the same estimate by scipy's distributions."""

import csv
import sys
from pathlib import Path

import laying
import numpy as np
import pytest
from seasons import plan, traps, weather

PROOFS = Path(__file__).parent.parent / "proofs"
sys.path.append(str(PROOFS))
from orchard import Orchard, block  # noqa: E402
from seasons_farm import block_of, day_of_year, days_of, notes_of, products, station_id, traps_of, visits_of  # noqa: E402

INSECTS = Path(__file__).parents[2] / "config" / "insects"
EARLIEST = traps.day_of((3, 15))
SEASONS = (("plain", "low", 3, 1_100), ("plain", "high", 6, 1_101), ("cold", "middle", 4, 1_102),
           ("baseline", "middle", 4, 1_103), ("missed", "low", 8, 1_104), ("none", "middle", 6, 1_105))
DAYS = [traps.day_of(day) for day in ((4, 2), (4, 19), (5, 10))]
NEVER_CONFIRMED = "none"


@pytest.fixture(scope="module")
def seasons():
    return [plan.season(kind, level, count, 1, seed, plan.DEVELOPMENT["years"])
            for kind, level, count, seed in SEASONS]


@pytest.fixture(scope="module")
def farm(tmp_path_factory, seasons):
    """The seasons, and a block without traps for each station, whose heat is added up from 1 January."""
    stations = sorted({(season.station, season.year) for season in seasons})
    days = {station_id(*of): days_of(*of) for of in stations}
    farm = Orchard(tmp_path_factory.mktemp("laying"), INSECTS, days, traps.civil(weather.DAYS - 1), products())
    bare = [block(f"bare-{name}", name) for name in days]
    farm.declare([*(block_of(season) for season in seasons), *bare], traps_of(seasons))
    farm.enter(visits_of(seasons), notes_of(seasons))
    return farm


def heat_of(farm, season):
    """The program's own degree-days since 1 January by the beginning of each day: they are checked elsewhere."""
    bare = f"bare-{station_id(season.station, season.year)}"
    told = farm.run("explain", "--block", bare, "--as-of", traps.civil(weather.DAYS - 1), "--format", "csv")
    daily = [float(row["degree_days"]) for row in csv.DictReader(told.splitlines()) if row["degree_days"]]
    return np.concatenate([[0], np.cumsum(daily)])


def readings(season, to):
    """(Day before, day, eggs) of every trap to a day, baselines left out."""
    for trap in season.egg_traps:
        since, baseline = trap.hung, True
        for visit in trap.visits:
            if visit.count is not None and visit.day <= to:
                if not baseline:
                    yield since, visit.day, visit.count
                baseline = False
            since = visit.day


def test_the_estimate_is_the_one_scipy_gives(farm, seasons):
    compared = 0
    for day in DAYS:
        told = farm.as_of(traps.civil(day))
        for season in seasons:
            estimate = told[season.name]["egg_laying_start"]["evidence"]["estimate"]
            read_to = day_of_year(estimate["read_to"])
            chance, days = laying.estimate(
                list(readings(season, read_to)), heat_of(farm, season), EARLIEST, read_to)
            assert estimate["chance"] == pytest.approx(chance, abs=1e-6)
            assert [day_of_year(estimate[name]) for name in ("early", "middle", "late")] == (days or [None] * 3)
            compared += days is not None
    assert compared >= len(SEASONS)  # not ahead everywhere


def test_where_nothing_begins_the_estimate_says_so(farm, seasons):
    told = farm.as_of(traps.civil(traps.day_of((5, 28))))
    chances = {season.name: told[season.name]["egg_laying_start"]["evidence"]["estimate"]["chance"]
               for season in seasons}
    for season in seasons:
        if season.kind == NEVER_CONFIRMED:
            assert chances[season.name] < 0.5
        else:
            assert chances[season.name] > 0.9
