"""The intervals of harvest samples: the table that the program's own tests hold to is scipy's."""

import pytest
from scipy.stats import binomtest

import tables


@pytest.mark.parametrize("row", tables.rows("intervals/wilson.csv"), ids=lambda row: f"{row['found']} of {row['nuts']}")
def test_an_interval_is_that_of_scipy(row):
    interval = binomtest(int(row["found"]), int(row["nuts"])).proportion_ci(method="wilson")
    assert float(row["low_percent"]) == pytest.approx(100 * interval.low, abs=1e-9)
    assert float(row["high_percent"]) == pytest.approx(100 * interval.high, abs=1e-9)
