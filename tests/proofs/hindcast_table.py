"""How well projected dates held: the table of a hindcast, beside two simpler ways of projecting.

Rows come from `duskflight hindcast FILE --start MM-DD --targets 1056,1779 --made-on 0,20,40,60
--format csv`: station,year,target,made_on,early,middle,late,truth, where made_on is days after the
start and the four instants are days of the year (160.25 is a quarter into the 160th). Where starts
differ from year to year, a column `start` gives each row's own (YYYY-MM-DD). The simpler ways are
worked out here from the same station file, by code of this file alone:

- baseline: mean daily heat by month and day of the last 15 earlier complete years; the date is when
  heat so far and that mean reach the target;
- raw past years: each earlier year's own heat continues the season; median, quantiles 0.1 and 0.9.

Cells are target and days after the start, over all starts and stations. Intervals are 90 %, from
resampling whole years, since neighbouring stations share their summers.

    hindcast_table.py --stations DIR [--from YEAR] [--to YEAR] [--check] MM-DD=ROWS.csv ...

With --check the exit code is 1 where a promise of the projection is not kept, and it is named.
"""

import argparse
import csv
import datetime
import sys
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np

LOWER_F, UPPER_F = 55.0, 94.0
LONGEST_GAP_DAYS = 5
COMPLETE_SHARE = 0.98
BASELINE_YEARS = 15
RESAMPLES = 1000
MISS = 2 / 0.2  # what a day outside an 80 % range costs (Gneiting & Raftery 2007, JASA 102:359)


def single_sine(low, high):
    """Degree-days of days by single sine and horizontal cutoff, °F (Allen 1976, Environ. Entomol.
    5:388): the area of the sine between the thresholds."""

    def above(threshold):
        mean, half = (low + high) / 2, np.maximum((high - low) / 2, 1e-9)
        angle = np.arcsin(np.clip((threshold - mean) / half, -1, 1))
        return ((mean - threshold) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi

    return above(LOWER_F) - above(UPPER_F)


def bridged(values):
    """Values with gaps of up to five days bridged by a straight line."""
    filled = values.copy()
    known = np.flatnonzero(~np.isnan(values))
    for left, right in zip(known, known[1:]):
        if 1 < right - left <= LONGEST_GAP_DAYS + 1:
            inside = np.arange(left + 1, right)
            filled[inside] = np.interp(inside, [left, right], [values[left], values[right]])
    return filled


def celsius(text):
    return float(text) if text else np.nan


@dataclass
class Station:
    """Heat by year and day (365 columns, without 29 February), NaN where it is not known."""

    first_year: int
    heat: np.ndarray
    measured: np.ndarray

    def past(self, year):
        return self.heat[: year - self.first_year]

    def season(self, year):
        return self.heat[year - self.first_year]

    def mean_of_past(self, year):
        """Mean daily heat of the last complete years before one, January to October."""
        known = self.measured[: year - self.first_year, :304].mean(axis=1)
        complete = np.flatnonzero(known >= COMPLETE_SHARE)[-BASELINE_YEARS:]
        return np.nanmean(self.heat[complete], axis=0)


def read_station(path):
    with path.open(newline="") as file:
        rows = {
            datetime.date.fromisoformat(row["date"]): (
                celsius(row["tmin_c"]),
                celsius(row["tmax_c"]),
            )
            for row in csv.DictReader(file)
        }
    first, last = min(rows).year, max(rows).year
    start = datetime.date(first, 1, 1)
    span = (datetime.date(last, 12, 31) - start).days + 1
    days = [start + datetime.timedelta(n) for n in range(span)]
    low, high = np.array([rows.get(day, (np.nan, np.nan)) for day in days]).T
    # A minimum of exactly zero on a warm day is a logger that was reset.
    low = np.where(((low == 0) & (high > 18)) | (low > high), np.nan, low)
    heat = single_sine(bridged(low) * 1.8 + 32, bridged(high) * 1.8 + 32)
    kept = np.array([(day.month, day.day) != (2, 29) for day in days])
    shape = (last - first + 1, 365)
    return Station(first, heat[kept].reshape(shape), ~np.isnan(low + high)[kept].reshape(shape))


def reached(daily, needed):
    """Days until each row of daily heat adds up to what is needed; NaN where a gap comes first,
    infinity where it is not reached."""
    level = np.cumsum(daily, axis=1)
    hit = level >= needed
    day, row = hit.argmax(axis=1), np.arange(len(daily))
    share = (needed - level[row, day] + daily[row, day]) / np.maximum(daily[row, day], 1e-9)
    missing = np.where(np.isnan(level[:, -1]), np.nan, np.inf)
    return np.where(hit.any(axis=1), day + share, missing)


@dataclass
class Case:
    """One season and day made: the three projections and the truth, as days of the year."""

    year: int
    cell: tuple
    truth: float
    told: tuple
    raw: tuple
    baseline: float


def leap_day(year, start):
    """1 where 29 February comes before the start: our columns do not count it."""
    return int(start.month > 2 and (year % 4 == 0 and year % 100 != 0 or year % 400 == 0))


def case_of(row, start, station):
    """One row beside the simpler ways; None where the station file alone, with short gaps bridged,
    does not give them."""
    year, target, made_on = int(row["year"]), float(row["target"]), int(row["made_on"])
    if row.get("start"):
        start = datetime.date.fromisoformat(row["start"])
    first = datetime.date(2001, start.month, start.day).timetuple().tm_yday - 1
    known = first + made_on
    needed = target - station.season(year)[first:known].sum()
    to_day_of_year = known + 1 + leap_day(year, start)
    past = reached(station.past(year)[:, known:], needed)
    past = np.minimum(past[~np.isnan(past)], 365 - known)
    mean = reached(station.mean_of_past(year)[None, known:], needed)[0]
    if len(past) == 0 or np.isnan(needed) or not np.isfinite(mean):
        return None
    return Case(
        year,
        (int(target), made_on),
        float(row["truth"]),
        tuple(float(row[key]) for key in ("early", "middle", "late")),
        tuple(np.quantile(past, [0.1, 0.5, 0.9]) + to_day_of_year),
        mean + to_day_of_year,
    )


def read_cases(sources, stations):
    cases = []
    for start, path in sources:
        with path.open(newline="") as file:
            rows = [row for row in csv.DictReader(file) if row["truth"]]
        cases.extend(case_of(row, start, stations[row["station"]]) for row in rows)
    known = [case for case in cases if case]
    if len(known) < len(cases):
        print(f"{len(cases) - len(known)} rows left out: gaps in the station file")
    return known


def score(early, late, truth):
    """Interval score: the width, and what is missed ten times."""
    return (late - early) + MISS * (np.maximum(early - truth, 0) + np.maximum(truth - late, 0))


def measures(cases):
    """What is measured of each case, as columns."""
    truth = np.array([case.truth for case in cases])
    early, middle, late = np.array([case.told for case in cases]).T
    raw_early, raw_middle, raw_late = np.array([case.raw for case in cases]).T
    baseline = np.array([case.baseline for case in cases])
    # Printed days are the ones that contain an instant; the range reaches outward.
    day = np.ceil(truth) - 1
    first, last = np.floor(early), np.ceil(late) - 1
    return {
        "error": abs(middle - truth),
        "base_error": abs(baseline - truth),
        "raw_error": abs(raw_middle - truth),
        "bias": middle - truth,
        "base_bias": baseline - truth,
        "inside": (early <= truth) & (truth <= late),
        "day_inside": (first <= day) & (day <= last),
        "day_early": day < first,
        "day_late": day > last,
        "width": late - early,
        "score": score(early, late, truth),
        "raw_score": score(raw_early, raw_late, truth),
    }


def table_of(cases):
    """Means by cell."""
    cells = defaultdict(list)
    for case in cases:
        cells[case.cell].append(case)
    rows = {}
    for cell in sorted(cells):
        means = {name: values.mean() for name, values in measures(cells[cell]).items()}
        rows[cell] = {"n": len(cells[cell]), **means}
        rows[cell]["ratio"] = means["error"] / means["base_error"]
        rows[cell]["raw_ratio"] = means["raw_error"] / means["base_error"]
    return rows


def mean_of(rows, name):
    return float(np.mean([row[name] for row in rows.values()]))


def sums_by_year(cases, names):
    """Sums of measures by name, year and cell, and the counts, as arrays."""
    years = sorted({case.year for case in cases})
    cells = sorted({case.cell for case in cases})
    columns = measures(cases)
    at = ([years.index(case.year) for case in cases], [cells.index(case.cell) for case in cases])
    sums = {name: np.zeros((len(years), len(cells))) for name in (*names, "n")}
    for name in names:
        np.add.at(sums[name], at, columns[name])
    np.add.at(sums["n"], at, 1)
    return sums


MEASURED = ("error", "base_error", "bias", "base_bias", "day_inside", "day_early", "day_late",
            "width", "score", "raw_score")


def resampled(years):
    """How often each year is drawn, in so many samples of whole years."""
    return np.random.default_rng(1).multinomial(years, np.full(years, 1 / years), RESAMPLES)


def intervals(cases):
    """90 % intervals of the mean ratio and of every measure of each cell, by name."""
    sums = sums_by_year(cases, MEASURED)
    draw = resampled(len(sums["n"]))
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = (draw @ sums["error"]) / (draw @ sums["base_error"])
        means = {name: (draw @ sums[name]) / (draw @ sums["n"]) for name in MEASURED}
    ends = [0.05, 0.95]
    mean_ratio = np.nanquantile(np.nanmean(ratio, axis=1), ends)
    return mean_ratio, {name: np.nanquantile(m, ends, axis=0).T for name, m in means.items()}


def show(rows, cases, ratio, bias):
    print("target made    n  error  base ratio   raw   bias [90 %]          base [90 %]      "
          "inside early  late (days)  in.   width  score    raw")
    for row, cell, own, base in zip(rows.values(), rows, bias["bias"], bias["base_bias"]):
        print(f"{cell[0]:6} {cell[1]:4} {row['n']:4} {row['error']:6.2f} {row['base_error']:5.2f} "
              f"{row['ratio']:5.2f} {row['raw_ratio']:5.2f} {row['bias']:+6.2f} "
              f"[{own[0]:+.2f}, {own[1]:+.2f}] {row['base_bias']:+6.2f} [{base[0]:+.2f}, "
              f"{base[1]:+.2f}] {row['day_inside']:6.2f} {row['day_early']:5.2f} "
              f"{row['day_late']:5.2f} {row['inside']:11.2f} {row['width']:7.1f} "
              f"{row['score']:6.1f} {row['raw_score']:6.1f}")
    print("90 % intervals:    " + "  ".join(f"{name:>14}" for name in MEASURED))
    for at, cell in enumerate(rows):
        ends = (f"{bias[name][at][0]:6.2f}…{bias[name][at][1]:.2f}" for name in MEASURED)
        print(f"{cell[0]:6} {cell[1]:4}        " + "  ".join(f"{text:>14}" for text in ends))
    pooled = {name: values.mean() for name, values in measures(cases).items()}
    print(f"mean ratio {mean_of(rows, 'ratio'):.3f} [{ratio[0]:.3f}, {ratio[1]:.3f}], raw past years "
          f"{mean_of(rows, 'raw_ratio'):.3f}; of all as printed inside {pooled['day_inside']:.3f} "
          f"early {pooled['day_early']:.3f} late {pooled['day_late']:.3f}, fractional inside "
          f"{pooled['inside']:.3f}; score {mean_of(rows, 'score'):.2f}, raw past years "
          f"{mean_of(rows, 'raw_score'):.2f}; bias {pooled['bias']:+.2f}, baseline "
          f"{pooled['base_bias']:+.2f}")
    return pooled


def broken_promises(rows, pooled, ratio):
    """The promises of the projection that the table does not keep."""
    promises = {
        "the mean ratio's interval lies below 1": ratio[1] < 1,
        "of all truths 0.72 to 0.88 are inside": 0.72 <= pooled["day_inside"] <= 0.88,
        "0.05 to 0.15 come early": 0.05 <= pooled["day_early"] <= 0.15,
        "0.05 to 0.15 come late": 0.05 <= pooled["day_late"] <= 0.15,
        "the score is better than raw past years'": mean_of(rows, "score")
        < mean_of(rows, "raw_score"),
    }
    for cell, row in rows.items():
        promises[f"{cell}: 0.62 to 0.94 are inside"] = 0.62 <= row["day_inside"] <= 0.94
        promises[f"{cell}: the bias is no worse than the baseline's"] = (
            abs(row["bias"]) <= abs(row["base_bias"])
        )
    return [name for name, kept in promises.items() if not kept]


def source(text):
    start, _, path = text.partition("=")
    month, day = map(int, start.split("-"))
    return datetime.date(2001, month, day), Path(path)


def main():
    parser = argparse.ArgumentParser(description="Table of a hindcast.")
    parser.add_argument("--stations", type=Path, required=True)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--to", dest="last", type=int, default=9999)
    parser.add_argument("--check", action="store_true")
    parser.add_argument("sources", nargs="+", type=source, metavar="MM-DD=ROWS.csv")
    args = parser.parse_args()
    stations = {path.stem: read_station(path) for path in sorted(args.stations.glob("*.csv"))}
    cases = [
        case
        for case in read_cases(args.sources, stations)
        if args.first <= case.year <= args.last
    ]
    rows = table_of(cases)
    ratio, bias = intervals(cases)
    pooled = show(rows, cases, ratio, bias)
    broken = broken_promises(rows, pooled, ratio) if args.check else []
    for name in broken:
        print(f"not kept: {name}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
