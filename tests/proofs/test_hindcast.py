"""Projected dates against what came, season by season: better than the mean of past years by day,
without its bias, and with ranges that hold what they promise.

Stations, cells, starts and limits were fixed before; methods and constants were chosen on seasons up to
2004, so those since are the proof."""

import csv

import hindcast_table as table
import numpy as np
import pytest
from program import rows

STATIONS = ("CIMIS-2", "CIMIS-7", "CIMIS-15", "CIMIS-39", "CIMIS-80",
            "COOP-FRESNO-AP", "COOP-HANFORD", "GHCN-MERCED")
STARTS = ("04-01", "04-20", "05-10")
START_AFTER_HEAT = 200  # °F-days since 1 January: a start that comes with the spring
MOVED = {"GHCN-MERCED": "1998-08-01"}
CELLS = {(1056, made) for made in (0, 20, 40)} | {(1779, made) for made in (0, 20, 40, 60)}
PERIODS = {"to 2004": (0, 2004), "since 2005": (2005, 9999), "all": (0, 9999)}


def hindcast(records, station, *start):
    moved = ["--moved", MOVED[station]] if station in MOVED else []
    return rows("hindcast", records / f"{station}.csv", *start, *moved,
                "--targets", "1056,1779", "--made-on", "0,20,40,60")


def with_its_start(row, station):
    """The row of a season whose start follows its own heat, with that start."""
    heat = np.cumsum(np.nan_to_num(station.season(int(row["year"]))))
    day = int((heat >= START_AFTER_HEAT).argmax())
    first = np.datetime64("2001-01-01") + day
    return {**row, "start": f"{row['year']}-{str(first)[5:]}"}


@pytest.fixture(scope="module")
def cases(records, tmp_path_factory):
    """Every projection of all stations and starts, in the cells of the proof."""
    stations = {name: table.read_station(records / f"{name}.csv") for name in STATIONS}
    folder = tmp_path_factory.mktemp("hindcasts")
    sources = []
    for start in STARTS:
        written = [row for name in STATIONS for row in hindcast(records, name, "--start", start)]
        sources.append(f"{start}={written_to(folder / start, written)}")
    after_heat = ("--start-after-heat", START_AFTER_HEAT)
    written = [with_its_start(row, stations[name])
               for name in STATIONS for row in hindcast(records, name, *after_heat)]
    sources.append(f"01-01={written_to(folder / 'heat', written)}")
    read = table.read_cases([table.source(text) for text in sources], stations)
    return [case for case in read if case.cell in CELLS]


def written_to(path, written):
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=written[0])
        writer.writeheader()
        writer.writerows(written)
    return path


@pytest.mark.parametrize("period", PERIODS)
def test_the_projection_keeps_its_promises(cases, period, capsys):
    first, last = PERIODS[period]
    of_period = [case for case in cases if first <= case.year <= last]
    found = table.table_of(of_period)
    assert set(found) == CELLS
    ratio, bias = table.intervals(of_period)
    with capsys.disabled():
        print(f"\nSeasons {period}:")
        pooled = table.show(found, of_period, ratio, bias)
    assert table.broken_promises(found, pooled, ratio) == []
    # Where the interval of the bias does not hold 0, the baseline's is farther from it.
    for own, base in zip(bias["bias"], bias["base_bias"]):
        assert own[0] <= 0 <= own[1] or abs(own).min() < abs(base).min()


def warmed(line, by):
    """A row of a station file whose temperatures are so much higher, °C."""
    *day, low, high = line.split(",")
    return ",".join([*day, *(value and str(float(value) + by) for value in (low, high))])


@pytest.mark.parametrize("made_on, day", [("0", "2015-04-20"), ("20", "2015-05-10"), ("40", "2015-05-30")])
def test_what_comes_after_the_day_made_changes_nothing(records, tmp_path, made_on, day):
    """All days from the day made on are 5 °C warmer: another truth, the same projection."""

    def told(folder):
        return [row for row in hindcast(folder, "CIMIS-39", "--start", "04-20")
                if (row["year"], row["target"], row["made_on"]) == ("2015", "1056", made_on)][0]

    header, *lines = (records / "CIMIS-39.csv").read_text().splitlines()
    changed = [line if line.split(",")[1] < day else warmed(line, 5) for line in lines]
    (tmp_path / "CIMIS-39.csv").write_text("\n".join([header, *changed]) + "\n")
    before, after = told(records), told(tmp_path)
    for instant in ("early", "middle", "late"):
        assert before[instant] == after[instant]
    assert float(after["truth"]) < float(before["truth"]) - 1
