"""The single sine against an independent library that knows one lower threshold.

What lies above the upper threshold is the same function there, so the horizontal cutoff is the
difference of two of its values. It rounds each to five decimals and cannot take a day without
range at a threshold; the integrals cover those.
"""

import pandas as pd
import pytest
from nonlineartemppy.calculations import degree_days

import curve
import sample
from command import consecutive, heat

ROUNDED = 0.5e-5 + 1e-9


@pytest.mark.parametrize("unit", ("f", "c"))
@pytest.mark.parametrize("cutoff, values", [("none", 1), ("horizontal", 2)])
def test_each_day_is_what_the_library_gives(cutoff, values, unit):
    days = consecutive([day for day in sample.days(unit) if day[0] < day[1]])
    limits = curve.thresholds(unit)
    table = degree_days(pd.DataFrame(days, columns=["date", "tmin", "tmax"]), list(limits))
    above_lower, above_upper = (table[f"dday{limit}C"] for limit in limits)
    expected = above_lower if cutoff == "none" else above_lower - above_upper
    got = heat(days, "single-sine", cutoff, unit)
    for row, value in zip(got, expected, strict=True):
        assert row.degree_days == pytest.approx(value, rel=0, abs=values * ROUNDED), row
