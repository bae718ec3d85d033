"""The two averages against worked examples in print and against an independent library."""

import pytest
from aquacrop.solution.growing_degree_day import growing_degree_day

import curve
import sample
import tables
from command import consecutive, heat

PUBLISHED = tables.rows("heat/published-averages.csv")

# aquacrop's numbers for the two: the mean clipped, and the mean of both extremes clipped.
LIBRARY_METHOD = {"average": 1, "clipped-average": 2}
NO_UPPER = 1e9


@pytest.mark.parametrize("example", PUBLISHED, ids=[row["id"] for row in PUBLISHED])
def test_a_published_example_is_met(example):
    upper = example["upper"] or None
    day = (float(example["min"]), float(example["max"]))
    [got] = heat(consecutive([day]), example["method"], lower=example["lower"], upper=upper)
    assert got.degree_days == float(example["published"]), example["source"]


def test_three_published_days_together():
    """Waushara Argus 2018-04-25: P4, P5 and P6 make 43."""
    days = [(65, 90), (46, 72), (42, 63)]
    got = heat(consecutive(days), "clipped-average", lower=50, upper=86)
    assert got[-1].total == 43


@pytest.mark.parametrize("unit", ("f", "c"))
@pytest.mark.parametrize("method", LIBRARY_METHOD)
def test_each_day_is_what_the_library_gives(method, unit):
    days = sample.days(unit) + sample.hot_days(unit)
    lower, upper = curve.thresholds(unit)
    top = NO_UPPER if method == "average" else upper
    for row in heat(consecutive(days), method, unit=unit):
        expected = growing_degree_day(LIBRARY_METHOD[method], top, lower, row.tmax, row.tmin)
        assert row.degree_days == pytest.approx(expected, rel=0, abs=1e-9), row
