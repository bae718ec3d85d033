"""A real year at Merced airport: the season's total and the date of the 1056 °F-day mark."""

from datetime import date, timedelta
from itertools import accumulate
from statistics import fmean

import pandas as pd
import pytest
from nonlineartemppy.calculations import degree_days

import curve
import tables
from command import heat

START = date(2022, 4, 15)
MARK = 1056 / 1.8
UNIT = "c"
MODELS = [(method, cutoff) for method in curve.METHODS for cutoff in curve.CUTOFFS]
MODELS += [("average", None), ("clipped-average", None)]


def expected(days, method, cutoff):
    """(date, degree-days), °C-days; a double method has none for a day without a successor."""
    lower, upper = limits = curve.thresholds(UNIT)
    minimum_on = {day: tmin for day, tmin, _ in days}
    for day, tmin, tmax in days:
        next_min = minimum_on.get(day + timedelta(1))
        if method == "average":
            yield day, max(0.0, fmean((tmin, tmax)) - lower)
        elif method == "clipped-average":
            yield day, fmean(min(max(t, lower), upper) for t in (tmin, tmax)) - lower
        elif method.startswith("single") or next_min is not None:
            yield day, curve.day(method, cutoff, limits, tmin, tmax, next_min)


def reached(days, totals):
    return next(day for day, total in zip(days, totals) if total >= MARK)


@pytest.mark.parametrize("method, cutoff", MODELS)
def test_the_season_and_the_date_of_the_mark(method, cutoff):
    days = tables.station_days("merced-2022", START)
    assert len(days) == 260, "15 April to 31 December with one day missing"
    got = heat(days, method, cutoff, UNIT)
    dates, values = zip(*expected(days, method, cutoff))
    totals = list(accumulate(values))
    assert [row.date for row in got] == list(dates)
    assert [row.total for row in got] == pytest.approx(totals, rel=0, abs=1e-9)
    assert reached(dates, [row.total for row in got]) == reached(dates, totals)


def test_the_library_and_the_command_agree_on_the_date_of_the_mark():
    """Single sine, horizontal, as the difference of the library's values at both thresholds."""
    days = tables.station_days("merced-2022", START)
    limits = curve.thresholds(UNIT)
    table = degree_days(pd.DataFrame(days, columns=["date", "tmin", "tmax"]), list(limits))
    above_lower, above_upper = (table[f"dday{limit}C"] for limit in limits)
    by_library = reached(table["date"], (above_lower - above_upper).cumsum())
    got = heat(days, "single-sine", "horizontal", UNIT)
    by_command = reached([row.date for row in got], [row.total for row in got])
    assert by_command == by_library == date(2022, 6, 23)
