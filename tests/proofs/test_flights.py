"""Flights told of simulated seasons, against their truth and the best there is.

All tables are of the reporting seeds and years; every rule and constant was chosen on the development
ones. What is asserted holds for reasons of its own and not because of how these seeds fell."""

from collections import defaultdict
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import seasons_best as best
import seasons_smoother as smoother
import seasons_table as table
from seasons import parameters, plan, traps
from seasons_farm import Farm, day_of_year

INSECTS = Path(__file__).parents[2] / "config" / "insects"
TRAPS = ((3, 1), (4, 2), (6, 3), (8, 4))  # egg traps and moth traps of a block
OTHER_TRAPS = ((4, 2), (8, 4))
LEVELS = ("low", "middle", "high")
PLAIN_SEASONS, OTHER_SEASONS, BEST_SEASONS = 40, 12, 12  # a cell
DISRUPTED_SEASONS = 24  # of the kinds under disruption or near it: more than 100 each
DISRUPTED = (*plan.MOTH_TRAPS, "near")
LAST_DAY = traps.day_of((10, 20))


def planned():
    seeds, years = list(plan.REPORTING["seeds"]), plan.REPORTING["years"]
    for kind in plan.KINDS:
        of_kind, count = (TRAPS, PLAIN_SEASONS) if kind == "plain" else (OTHER_TRAPS, OTHER_SEASONS)
        count = DISRUPTED_SEASONS if kind in DISRUPTED else count
        for level in LEVELS if kind != "none" else ("middle",):
            for eggs, moths in of_kind:
                for seed in seeds[: count if kind != "none" else 3 * count]:
                    yield plan.season(kind, level, eggs, moths, seed, years)


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    return Farm(tmp_path_factory.mktemp("seasons"), list(planned()), INSECTS)


@pytest.fixture(scope="module")
def told(farm):
    return farm.as_of(LAST_DAY)


def cells(farm, of_kind="plain"):
    """Seasons of a kind by trap numbers and level."""
    found = defaultdict(list)
    for season in farm.seasons:
        if season.kind == of_kind:
            found[len(season.egg_traps), len(season.moth_traps), season.level].append(season)
    return found


def flown(seasons, flights_of):
    sums = table.Flown()
    for season in seasons:
        sums.add(season, flights_of(season))
    return sums


def flight_row(label, sums):
    parts = [f"{label:16} {sums.seasons:4} {sums.true:5} {100 * sums.missed / max(sums.true, 1):5.0f} "
             f"{sums.false / sums.seasons:6.2f} {100 * sums.named / max(sums.found, 1):4.0f} "]
    for name in sums.off:
        share = 100 * sums.told(name) / max(sums.found, 1)
        parts.append(f"{share:4.0f} {table.quantiles(sums.off[name]):>11}")
    return " ".join(parts)


HEADING = ("                 seasons true missed% false/season named%  start: told% days off  "
           "peak: told% days off  end: told% days off (median, mean of absolute)")


def test_flights(farm, told, capsys):
    def by_program(season):
        return table.told_flights(told[season.name])

    by_kind, smoothed, at_best = {}, {}, table.Flown()
    with capsys.disabled():
        print(f"\nFlights by moth traps and level of catches:\n{HEADING}")
        for (_, moths, level), seasons in cells(farm).items():
            print(flight_row(f"{moths} traps {level}", flown(seasons, by_program)))
        print("The best there is, on the first of these seasons:")
        for (_, moths, level), seasons in cells(farm).items():
            of_cell = flown(seasons[:BEST_SEASONS], lambda s: best.best_flights(s, np.random.default_rng(s.seed)))
            at_best.true, at_best.found = at_best.true + of_cell.true, at_best.found + of_cell.found
            print(flight_row(f"{moths} traps {level}", of_cell))
        print("By kind of season, all traps and levels:")
        for kind in plan.KINDS:
            by_kind[kind] = flown([s for s in farm.seasons if s.kind == kind], by_program)
            print(flight_row(kind, by_kind[kind]))
        print("Under disruption or near it, by level of catches:")
        for kind in DISRUPTED:
            for level in LEVELS:
                of_cell = [s for s in farm.seasons if (s.kind, s.level) == (kind, level)]
                print(flight_row(f"{kind} {level}", flown(of_cell, by_program)))
        print("A smoother of twenty lines, by kind of season:")
        for kind in plan.KINDS:
            smoothed[kind] = flown([s for s in farm.seasons if s.kind == kind], smoother.smoothed_flights)
            print(flight_row(kind, smoothed[kind]))
    plain = by_kind["plain"]
    # It takes each top for a flight, also where nothing flies.
    for kind in plan.KINDS:
        assert by_kind[kind].false < smoothed[kind].false
    assert at_best.missed / at_best.true < plain.missed / plain.true
    # Moths from elsewhere come one at a time: seldom have two readings running six more than the low.
    assert by_kind["none"].false <= 0.05 * by_kind["none"].seasons
    # Two humps are nearer to each other than any generation published, so they add no flight.
    assert by_kind["two-humps"].false <= plain.false / plain.seasons * by_kind["two-humps"].seasons + 3
    # A moth flies some ten nights and readings are a week apart: a peak is not read nearer than that.
    assert np.mean(np.abs(plain.off["peak"])) < parameters.NIGHTS_ON_THE_WING + 7
    assert plain.found > plain.missed


def test_what_is_never_said(farm, told):
    """The rules about service hold in every season, whatever was caught."""
    for season in farm.seasons:
        flights = told[season.name]["flights"]
        far_below = flights["far_below"] is not None
        counted = {"combined": "moths, both sexes", "bags": "females"}.get(season.kind, "males")
        assert flights["counted"] == ("moths, both sexes" if far_below else counted)
        assert season.kind == "near" or not far_below
        numbers = [flight["number"] for flight in flights["seen"]]
        assert numbers == sorted(set(numbers))
        for flight in flights["seen"]:
            start, peak, end = (flight[name]["in"] for name in ("start", "peak", "end"))
            if start:
                fresh = len(start["after_overdue_change"])
                assert fresh == 0 or 2 * fresh < start["traps_read"]
            assert not peak or flight["peak"]["status"] == "at-least" or peak["undercounts"] == []
            assert not end or not end["mostly_past_life"]
            if end and season.kind == "bags":
                assert day_of_year(end["by"]) <= season.hull_split


def test_as_the_season_goes(farm, capsys):
    """How long after its reading a day is first told, and how much is taken back later."""
    plain, near = ([season for season in farm.seasons if season.kind == kind] for kind in ("plain", "near"))
    first, said = {}, defaultdict(dict)
    read = defaultdict(list)
    for day in range(traps.day_of((3, 17)), LAST_DAY, 7):
        of_day = farm.as_of(day)
        for season in near:
            read[season.name].append(of_day[season.name]["flights"].get("kind"))
        for season in plain:
            for flight in of_day[season.name]["flights"].get("seen", []):
                for name in ("start", "peak", "end"):
                    if flight[name]["in"]:
                        key = (season.name, name, flight[name]["in"]["by"])
                        first.setdefault(key, day)
                        said[key] = day
    # Once the combined traps are read they are read for the rest of the year.
    changes = [sum(one != later for one, later in pairwise(filter(None, kinds))) for kinds in read.values()]
    assert max(changes) <= 1
    last = LAST_DAY - 7
    with capsys.disabled():
        print("\nAs the season goes, plain seasons, asked once a week:")
        for name in ("start", "peak", "end"):
            keys = [key for key in first if key[1] == name]
            # Said on one day and not on the last one asked: moved, or joined with another flight.
            gone = [key for key in keys if said[key] < last - 7]
            lag = [first[key] - day_of_year(key[2]) for key in keys]
            print(f"  {name}: {len(keys)} told, first {np.median(lag):.0f} days (median) after the reading they "
                  f"are of; {100 * len(gone) / len(keys):.0f} % moved or taken back later")
            # Two readings are needed, so nothing is told on the day of its own reading.
            assert min(lag) >= (0 if name == "peak" else 7 - 1)
