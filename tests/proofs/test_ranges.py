"""Ranges as people read them against simulated generations on real seasons: four of five begin inside.

The program tells a range from what is declared of weather, insect, start and hull split; the generations are drawn
from the same, on the heat that came. So the ranges hold what they promise if the sources are joined rightly; whether
the declared spread is that of the field only a block's own traps can show."""

import os
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import generations as nature
import hindcast_table as table
import numpy as np
import pytest
from generations_farm import Block, orchard_of

ROOT = Path(__file__).parents[2]
INSECTS, GUIDE = ROOT / "config" / "insects", ROOT / "deploy" / "guide" / "projection.md"
# Ten past years at least, so from the eleventh year of each record on: together every season since 1990.
SEASONS = {"COOP-FRESNO-AP": range(1990, 2011), "CIMIS-39": range(2000, 2021)}
WEEKS = (8, 6, 4, 3, 2, 1)
BLOCKS, BROODS = 6, 100  # blocks of a station, half of them by traps; broods of a block and season
SEED = 1056


def seasons_of(record, years, rng):
    """The seasons of a station whose temperatures are whole from March to October."""
    station = table.read_station(record)
    daily = {year: station.season(year) for year in years}
    whole = {year: np.nan_to_num(days) for year, days in daily.items() if not np.isnan(days[59:304]).any()}
    return [nature.season(year, days, rng) for year, days in whole.items()]


def asked(season):
    """The days on which a generation is so many weeks ahead, if all is as declared: (generation, weeks), day."""
    for name, instant in season.expected().items():
        for weeks in WEEKS:
            yield (name, weeks), nature.civil(season.year, int(instant) - 7 * weeks)


def ranges(farm, seasons):
    """First and last day of each range told while the generation is still ahead: by block, season, generation and
    weeks of notice."""
    days = {(season.year, *what): day for season in seasons for what, day in asked(season)}
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        told = dict(zip(days.values(), pool.map(farm.as_of, days.values())))
    for (year, name, weeks), day in days.items():
        for block, of_block in told[day].items():
            mark = next(mark for mark in of_block["marks"] if mark["id"] == name)
            if mark["status"] == "projected":
                yield (block, year, name, weeks), [nature.day_of_year(mark[end]) for end in ("early", "late")]


def held_of_station(folder, record, years, rng):
    """For each generation and weeks of notice the share of broods that begin inside, and the range's days."""
    seasons = seasons_of(record, years, rng)
    blocks = [Block(f"b{at}", at % 2 == 0, [nature.true_split(season, rng) for season in seasons])
              for at in range(BLOCKS)]
    drawn = {(of.name, season.year): season.drawn(of.by_traps, split, BROODS, rng)
             for of in blocks for season, split in zip(seasons, of.splits)}
    farm = orchard_of(folder, INSECTS, record, seasons, blocks)
    for (block, year, name, weeks), (first, last) in ranges(farm, seasons):
        # The day that contains an instant; one that begins with it is the day before's end.
        began = np.ceil(drawn[block, year][name]) - 1
        yield (name, weeks), ((first <= began) & (began <= last)).mean(), last - first + 1


@pytest.fixture(scope="module")
def held(records, tmp_path_factory):
    """Shares inside and widths of all ranges, by generation and weeks of notice."""
    found, rng = defaultdict(list), np.random.default_rng(SEED)
    for station, years in SEASONS.items():
        folder = tmp_path_factory.mktemp(station)
        for what, share, width in held_of_station(folder, records / f"{station}.csv", years, rng):
            found[what].append((share, width))
    return {what: np.array(of) for what, of in found.items()}


def pooled(held, weeks, *names):
    """Share inside and mean width, over the ranges of these generations."""
    return np.concatenate([held[name, weeks] for name in names]).mean(axis=0)


def written(held):
    """The guide's table."""
    second, third, fourth = nature.GENERATIONS
    yield "| weeks ahead | second inside | days wide | third and fourth inside | third, days wide | fourth, days wide |"
    yield "|---|---|---|---|---|---|"
    for weeks in WEEKS:
        inside = [pooled(held, weeks, *names)[0] for names in ([second], [third, fourth])]
        wide = [pooled(held, weeks, name)[1] for name in (second, third, fourth)]
        yield (f"| {weeks} | {100 * inside[0]:.0f} % | {wide[0]:.0f} | {100 * inside[1]:.0f} % | {wide[1]:.0f} "
               f"| {wide[2]:.0f} |")


@pytest.mark.parametrize("weeks", WEEKS)
@pytest.mark.parametrize("names", [nature.GENERATIONS[:1], nature.GENERATIONS[1:]], ids=["second", "later"])
def test_four_of_five_generations_begin_inside(held, weeks, names):
    inside, _ = pooled(held, weeks, *names)
    assert 0.75 <= inside <= 0.85


def test_ranges_are_as_wide_as_what_is_not_known(held):
    """±115 °F-days, four of five of ±90, are eleven days of June; weather and start widen them. A fourth generation
    rests on three spreads and spans weeks, not months."""
    second, _, fourth = nature.GENERATIONS
    assert 10 <= pooled(held, 2, second)[1] <= 14
    assert pooled(held, 8, fourth)[1] <= 30


def test_the_guides_table_is_this_one(held, capsys):
    lines = "\n".join(written(held))
    with capsys.disabled():
        print(f"\nRanges against simulated generations:\n{lines}")
    assert lines in GUIDE.read_text(encoding="utf-8"), "the guide's table is not the one above"
