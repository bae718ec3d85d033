"""The tables of reference values under tests/data/heat."""

from datetime import date

import pytest

import tables
from command import consecutive, heat

CUTOFFS = ("none", "horizontal", "intermediate", "vertical")
SINGLE = [("sine", "single-sine", cutoff) for cutoff in CUTOFFS]
SINGLE += [("triangle", "single-triangle", cutoff) for cutoff in CUTOFFS]
DOUBLE = [
    (shape, f"double-{shape}", cutoff) for shape in ("sine", "triangle") for cutoff in CUTOFFS[1:]
]


def extremes(table):
    return [(float(row["min"]), float(row["max"])) for row in table]


@pytest.mark.parametrize("shape, method, cutoff", SINGLE)
def test_single_methods(shape, method, cutoff):
    table = tables.rows("heat/single.csv")
    got = heat(consecutive(extremes(table)), method, cutoff)
    expected = [float(row[f"{shape}_{cutoff}"]) for row in table]
    assert [row.degree_days for row in got] == pytest.approx(expected, rel=0, abs=1e-4)


@pytest.mark.parametrize("method", ("average", "clipped-average"))
def test_averages(method):
    table = tables.rows("heat/single.csv")
    got = heat(consecutive(extremes(table)), method)
    expected = [float(row[method.replace("-", "_")]) for row in table]
    assert [row.degree_days for row in got] == pytest.approx(expected, rel=0, abs=1e-4)


@pytest.mark.parametrize("shape, method, cutoff", DOUBLE)
def test_double_methods(shape, method, cutoff):
    table = tables.rows("heat/double.csv")
    followed = [(day, (float(row["next_min"]),) * 2) for day, row in zip(extremes(table), table)]
    got = heat(consecutive([day for pair in followed for day in pair]), method, cutoff)
    expected = [float(row[f"{shape}_{cutoff}"]) for row in table]
    assert [row.degree_days for row in got[::2]] == pytest.approx(expected, rel=0, abs=1e-4)


def test_other_thresholds():
    table = tables.rows("heat/limits-50-88.csv")
    got = heat(consecutive(extremes(table)), "single-sine", "horizontal", lower=50, upper=88)
    expected = [float(row["sine_horizontal"]) for row in table]
    assert [row.degree_days for row in got] == pytest.approx(expected, rel=0, abs=0.005)


def ten_days():
    return [
        (date.fromisoformat(row["date"]), float(row["tmin"]), float(row["tmax"]))
        for row in tables.rows("heat/ten-days.csv")
    ]


@pytest.mark.parametrize("method", ("single-sine", "double-sine"))
def test_running_totals_of_ten_days(method):
    column = f"{method.replace('-', '_')}_horizontal"
    expected = [float(row[column]) for row in tables.rows("heat/ten-days.csv") if row[column]]
    got = heat(ten_days(), method)
    assert [row.total for row in got] == pytest.approx(expected, rel=0, abs=1e-3)


TOTALS = [
    ("single-sine", "intermediate", 176.369, 7),
    ("single-sine", "vertical", 144.237, 8),
    ("single-sine", "none", None, 7),
    ("single-triangle", "horizontal", 181.200, 7),
    ("single-triangle", "intermediate", None, 7),
    ("single-triangle", "vertical", None, 7),
    ("single-triangle", "none", None, 7),
    ("average", None, 182.0, 7),
    ("clipped-average", None, 179.0, 7),
]


@pytest.mark.parametrize("method, cutoff, total, day_of_hundred", TOTALS)
def test_ten_days_and_the_day_that_reaches_a_hundred(method, cutoff, total, day_of_hundred):
    got = heat(ten_days(), method, cutoff)
    if total is not None:
        assert got[-1].total == pytest.approx(total, rel=0, abs=1e-3)
    assert next(row.date.day for row in got if row.total >= 100) == day_of_hundred
