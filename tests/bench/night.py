"""One night of the farm of farm.py in straightforward pandas: read, screen, fill, add up, decide when egg
laying started, project 1056 and 1779 °F-days from past years, compare with the ledger, write it.

It does less than the program: one rule for the start, no fall-backs, no trend, no mails."""

import shutil
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

AS_OF = pd.Timestamp("2022-06-20")
MARKS = {"first-hatch": 100.0, "second-generation": 1056.0, "third-generation": 1779.0}


def above(low, high, threshold):
    mean, half = (low + high) / 2, np.maximum((high - low) / 2, 1e-9)
    angle = np.arcsin(np.clip((threshold - mean) / half, -1, 1))
    return ((mean - threshold) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi


def station_heat(database):
    """Daily heat by station and day: screened, short gaps bridged."""
    days = pd.read_sql("SELECT station, day, tmin, tmax FROM station_day ORDER BY station, day",
                       database, parse_dates=["day"])
    days = days.set_index(["station", "day"]) * 1.8 + 32
    days = days.where((days >= -45) & (days <= 134))
    days = days.where(days["tmin"] <= days["tmax"])
    for element in ("tmin", "tmax"):
        values = days[element].groupby("station")
        around = (values.shift(1) + values.shift(-1)) / 2
        days[element] = days[element].where((days[element] - around).abs() < 30)
    heat = {}
    for station, of_station in days.groupby(level="station"):
        of_station = of_station.droplevel("station").asfreq("D").interpolate(limit=5)
        daily = above(of_station["tmin"], of_station["tmax"], 55.0) - above(
            of_station["tmin"], of_station["tmax"], 94.0)
        heat[station] = daily
    return heat


def start_of(eggs):
    """First of two dates running on which three of four traps show a rise; eggs is dates by traps."""
    nights = eggs.index.to_series().diff().dt.days
    rate = eggs.div(nights, axis=0)
    rising = (rate > rate.shift(1)).mean(axis=1) >= 0.75
    confirmed = rising & rising.shift(-1, fill_value=False)
    return confirmed.idxmax() if confirmed.any() else None


def projected(heat, start, mark):
    """The day a mark passed, or early, middle and late of what past years let expect."""
    season = heat[start:].cumsum()
    if season.iloc[-1] >= mark:
        return season.index[season.searchsorted(mark)], None
    left = mark - season.iloc[-1]
    ends = []
    for year in range(heat.index[0].year, AS_OF.year):
        rest = heat[AS_OF.replace(year=year):pd.Timestamp(year, 12, 31)].cumsum()
        days = rest.searchsorted(left)
        if days < len(rest):
            ends.append(days)
    early, middle, late = np.quantile(ends, [0.1, 0.5, 0.9])
    return None, tuple(AS_OF + pd.Timedelta(days=round(x)) for x in (early, middle, late))


def night(folder, path):
    database = sqlite3.connect(path)
    heat = station_heat(database)
    blocks = pd.read_csv(folder / "blocks.csv").set_index("id")
    traps = pd.read_csv(folder / "traps.csv").set_index("id")["block"]
    visits = pd.read_sql("SELECT trap, day, eggs FROM visit WHERE readable = 1", database,
                         parse_dates=["day"])
    visits["block"] = visits["trap"].map(traps)
    told = pd.read_sql("SELECT block, event, value FROM told", database)
    known = set(zip(told["block"], told["event"]))
    rows = []
    for block, of_block in visits.groupby("block"):
        start = start_of(of_block.pivot(index="day", columns="trap", values="eggs"))
        if start is None:
            continue
        facts = {"egg-laying-start": f"{start:%Y-%m-%d}"}
        for mark, at in MARKS.items():
            passed, ahead = projected(heat[blocks["station"][block]], start, at)
            if passed is not None:
                facts[f"mark-passed:{mark}"] = f"{passed:%Y-%m-%d}"
            elif ahead[1] <= AS_OF + pd.Timedelta(days=14):
                facts[f"mark-near:{mark}"] = "/".join(f"{day:%Y-%m-%d}" for day in ahead)
        for event, value in facts.items():
            if (block, event) not in known:
                rows.append((2022, block, "navel-orangeworm", event, blocks["adviser"][block], 1,
                             value, "2022-06-20", None))
    with database:
        database.executemany(
            "INSERT INTO told (season, block, insect, event, person, revision, value, day, mail)"
            " VALUES (?,?,?,?,?,?,?,?,?)", rows)
    database.close()
    return len(rows)


def main():
    folder = Path(sys.argv[1])
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "duskflight.sqlite"
        shutil.copy(folder / "duskflight.sqlite", path)
        begun = time.perf_counter()
        told = night(folder, path)
        print(f"told {told}")
        print(f"seconds {time.perf_counter() - begun:.2f}")


if __name__ == "__main__":
    main()
