"""Pistachio's marks on real records: when 1700 °F-days from 1 January and 500 more are
reached, beside what is published and what monthly normals give."""

from statistics import fmean

import pytest
from program import rows

PEAKS = (1700, 2200, 2700)
# Fresno's monthly normals through single sine 55/94 °F reach 1700 on 5 July, good to two weeks.
FIRST_PEAK = 186
WEEKS = 14
# The flight study's counties, and their neighbours.
STATIONS = ("COOP-FRESNO-AP", "CIMIS-80", "CIMIS-39", "COOP-MADERA", "GHCN-MERCED")
MOVED = {"GHCN-MERCED": "1998-08-01"}


def dates(records, station):
    """Day of the year, with its share, on which each season reaches each peak."""
    moved = ["--moved", MOVED[station]] if station in MOVED else []
    targets = ",".join(map(str, PEAKS))
    written = rows("hindcast", records / f"{station}.csv", "--start", "01-01", *moved,
                   "--targets", targets, "--made-on", "60")
    reached = {}
    for row in written:
        reached.setdefault(int(row["year"]), {})[float(row["target"])] = float(row["truth"])
    return reached


@pytest.fixture(scope="module")
def reached(records):
    return {station: dates(records, station) for station in STATIONS}


def first_peaks(seasons):
    return [peaks[PEAKS[0]] for peaks in seasons.values() if PEAKS[0] in peaks]


def test_the_first_peak_at_fresno_comes_about_the_fifth_of_july(reached):
    days = first_peaks(reached["COOP-FRESNO-AP"])
    assert len(days) >= 20
    assert fmean(days) == pytest.approx(FIRST_PEAK, abs=3)
    near = [day for day in days if abs(day - FIRST_PEAK) <= WEEKS]
    assert len(near) >= 0.9 * len(days)


def test_most_seasons_of_the_valley_lie_within_two_weeks_of_it(reached):
    days = [day for seasons in reached.values() for day in first_peaks(seasons)]
    near = [day for day in days if abs(day - FIRST_PEAK) <= WEEKS]
    assert len(days) >= 80
    assert len(near) >= 0.8 * len(days)


def test_peaks_follow_each_other_by_about_three_weeks(reached):
    """As the flight study says of 277.78 °C-days."""
    seasons = [peaks for station in reached.values() for peaks in station.values()]
    whole = [peaks for peaks in seasons if set(PEAKS) <= set(peaks)]
    between = [peaks[b] - peaks[a] for peaks in whole for a, b in zip(PEAKS, PEAKS[1:])]
    assert len(between) >= 160
    assert fmean(between) == pytest.approx(21, abs=2)
    assert min(between) > 14 and max(between) < 32
