"""What past years borrowed from a neighbour are worth: each station of a folder as if its record had
just begun, with the past of each other station moved by the months' difference of the days that both
have, beside its own past and the neighbour's as it is.

From 20 April of each year the heat of eleven past years that lie before the shared days continues the
season; the projection is the median day on which a target is reached. By code of this file alone.

    borrowed_years.py FOLDER         a line for each target and stretch of years: pairs of station and
                                     year, then mean absolute errors in days
"""

import csv
import datetime
import gzip
import math
import statistics
import sys
from pathlib import Path

LOWER_F, UPPER_F = 55.0, 94.0
TARGETS = (1056, 1779)
STRETCHES = ((1980, 2004), (2005, 2025))
SHARED_DAYS = (60, 90, 120, 240, 475)
PAST_YEARS, ENOUGH_YEARS = 11, 8
ENOUGH_OF_MONTH = 15
MOST_HOLES = 5
ONE_DAY = datetime.timedelta(days=1)


def single_sine(low, high):
    """Degree-days of a day by single sine and horizontal cutoff, °F (Allen 1976)."""

    def above(threshold):
        mean, half = (low + high) / 2, (high - low) / 2
        if low >= threshold:
            return mean - threshold
        if high <= threshold:
            return 0.0
        angle = math.asin((threshold - mean) / half)
        return ((mean - threshold) * (math.pi / 2 - angle) + half * math.cos(angle)) / math.pi

    return above(LOWER_F) - above(UPPER_F)


def read(path):
    """Minima and maxima by day, °F."""
    record = {}
    with gzip.open(path, "rt") as file:
        for row in csv.DictReader(file):
            if row["tmin_c"] and row["tmax_c"]:
                low, high = (float(row[name]) * 1.8 + 32 for name in ("tmin_c", "tmax_c"))
                if low <= high:
                    record[datetime.date.fromisoformat(row["date"])] = (low, high)
    return record


def crossing(record, year, target, moved=None):
    """Days from 20 April until the target is reached."""
    day, heat, holes = datetime.date(year, 4, 20), 0.0, 0
    for count in range(200):
        if day in record:
            low, high = record[day]
            if moved:
                low, high = low + moved[day.month][0], high + moved[day.month][1]
            gained = single_sine(min(low, high), high)
            if heat + gained >= target:
                return count + (target - heat) / gained
            heat += gained
        else:
            holes += 1
            if holes > MOST_HOLES:
                return None
        day += ONE_DAY
    return None


def difference(own, neighbour, first, end):
    """By month, how far the station lies above its neighbour; None with too few days in both."""
    days = [first + ONE_DAY * count for count in range((end - first).days)]
    pairs = [(day.month, own[day], neighbour[day]) for day in days if day in own and day in neighbour]
    if len(pairs) < 0.8 * len(days):
        return None

    def mean(chosen):
        return tuple(statistics.mean(one[k] - other[k] for _, one, other in chosen) for k in (0, 1))

    months = {month: [pair for pair in pairs if pair[0] == month] for month in range(1, 13)}
    usual = mean(pairs)
    return {month: mean(chosen) if len(chosen) >= ENOUGH_OF_MONTH else usual for month, chosen in months.items()}


def middle(crossings):
    known = [crossed for crossed in crossings if crossed is not None]
    return statistics.median(known) if len(known) >= ENOUGH_YEARS else None


def errors(records, target, years):
    """For each way of having a past, its errors where all ways have one."""
    kept = {}

    def plain(name, year):
        key = (name, year)
        if key not in kept:
            kept[key] = crossing(records[name], year, target)
        return kept[key]

    rows = []
    for station in records:
        for neighbour in records:
            for year in years if station != neighbour else ():
                truth, end = plain(station, year), datetime.date(year, 4, 20)
                past = range(year - 1 - PAST_YEARS, year - 1)
                row = {
                    "own": middle(plain(station, past_year) for past_year in past),
                    "as it is": middle(plain(neighbour, past_year) for past_year in past),
                }
                for days in SHARED_DAYS if truth is not None else ():
                    first = end - ONE_DAY * days
                    moved = difference(records[station], records[neighbour], first, end)
                    row[f"{days} days"] = moved and middle(
                        crossing(records[neighbour], past_year, target, moved) for past_year in past
                    )
                if truth is not None and None not in row.values():
                    rows.append({name: abs(day - truth) for name, day in row.items()})
    return rows


def main():
    paths = sorted(Path(sys.argv[1]).glob("*.csv.gz"))
    records = {path.name: read(path) for path in paths}
    for target in TARGETS:
        for first, last in STRETCHES:
            rows = errors(records, target, range(first, last + 1))
            means = (f"{name} {statistics.mean(row[name] for row in rows):.2f}" for name in rows[0])
            print(f"{target} °F-days, {first}-{last}, {len(rows)} pairs: {', '.join(means)}", flush=True)


if __name__ == "__main__":
    main()
