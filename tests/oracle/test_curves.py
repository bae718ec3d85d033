"""Every curve method and cutoff against numerical integration, in °F and °C."""

from math import fsum

import pytest

import curve
import sample
from command import consecutive, heat

TOLERANCE = 1e-9
UNITS = ("f", "c")


@pytest.mark.parametrize("unit", UNITS)
def test_the_sample_has_every_case(unit):
    lower, upper = curve.thresholds(unit)
    days = sample.days(unit)
    assert len(days) >= 2000
    orders = {
        (tmin > lower, tmin > upper, tmax > lower, tmax > upper)
        for tmin, tmax in days
        if not {tmin, tmax} & {lower, upper}
    }
    assert len(orders) == 6
    assert any(tmin == lower < tmax for tmin, tmax in days)
    assert any(tmin < tmax == upper for tmin, tmax in days)
    assert any(tmin == tmax for tmin, tmax in days)
    assert (lower, upper) in days
    assert any(after[0] > tmax for (_, tmax), after in zip(days, days[1:]))


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("cutoff", curve.CUTOFFS)
@pytest.mark.parametrize("method", curve.METHODS)
def test_each_day_and_the_total_are_the_integral(method, cutoff, unit):
    days = sample.days(unit)
    got = heat(consecutive(days), method, cutoff, unit)
    expected = curve.days(method, cutoff, curve.thresholds(unit), days)
    assert [(row.tmin, row.tmax) for row in got] == days[: len(expected)]
    for row, value in zip(got, expected, strict=True):
        assert row.degree_days == pytest.approx(value, rel=0, abs=TOLERANCE), row
    assert got[-1].total == pytest.approx(fsum(expected), rel=0, abs=TOLERANCE)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("method", curve.METHODS)
def test_the_intermediate_cutoff_never_counts_below_zero(method, unit):
    days, limits = sample.hot_days(unit), sample.cool_limits(unit)
    got = heat(consecutive(days), method, "intermediate", unit, limits.lower, limits.upper)
    expected = curve.days(method, "intermediate", limits, days)
    assert 0 < expected.count(0.0) < len(expected), "the days must lie on both sides"
    for row, value in zip(got, expected, strict=True):
        assert row.degree_days >= 0
        assert row.degree_days == pytest.approx(value, rel=0, abs=TOLERANCE), row
