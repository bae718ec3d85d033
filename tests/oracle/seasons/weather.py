"""Real years of the stations under `tests/data`, as heat by day on the calendar of one plain year."""

import csv
import gzip
from functools import cache
from pathlib import Path

import numpy as np

from .parameters import LOWER_F, UPPER_F

RECORDS = Path(__file__).parents[2] / "data" / "stations" / "daily"
STATIONS = ("CIMIS-2", "CIMIS-7", "CIMIS-15", "CIMIS-39", "CIMIS-80")
DAYS = 365
LONGEST_GAP = 5


def single_sine(low, high):
    """Degree-days of days by single sine and horizontal cutoff (Allen 1976, Environ. Entomol. 5:388)."""

    def above(threshold):
        mean, half = (low + high) / 2, np.maximum((high - low) / 2, 1e-9)
        angle = np.arcsin(np.clip((threshold - mean) / half, -1, 1))
        return ((mean - threshold) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi

    return above(LOWER_F) - above(UPPER_F)


@cache
def record(station):
    """A station's extremes by (year, month-day), °C; 29 February is left out."""
    with gzip.open(RECORDS / f"{station}.csv.gz", "rt", newline="") as file:
        return {
            (int(row["date"][:4]), row["date"][5:]): (float(row["tmin_c"]), float(row["tmax_c"]))
            for row in csv.DictReader(file)
            if row["tmin_c"] and row["tmax_c"] and not row["date"].endswith("02-29")
        }


@cache
def extremes(station, year):
    """Minima and maxima of a year, °C, short gaps bridged by a straight line; None where a gap is long.
    A minimum of exactly zero on a warm day is a logger that was reset, and so missing."""
    first = np.datetime64("2021-01-01")
    days = [record(station).get((year, str(first + day)[5:]), (np.nan, np.nan)) for day in range(DAYS)]
    values = np.array(days)
    values[(values[:, 0] == 0) & (values[:, 1] > 18)] = np.nan
    known = np.flatnonzero(~np.isnan(values[:, 0]))
    if len(known) == 0 or max(np.diff(known, prepend=-1, append=DAYS)) > LONGEST_GAP + 1:
        return None
    return np.array([np.interp(np.arange(DAYS), known, column[known]) for column in values.T])


@cache
def level(station, year):
    """Degree-days since 1 January by the end of each day."""
    low, high = extremes(station, year) * 1.8 + 32
    return np.cumsum(single_sine(low, high))


@cache
def station_years(first, last):
    """All whole station years of a span."""
    return [(station, year) for station in STATIONS for year in range(first, last + 1)
            if extremes(station, year) is not None]
