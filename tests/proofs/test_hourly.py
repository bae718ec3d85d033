"""The honest limit of daily extremes: single-sine degree-days beside the hourly temperatures that the
extremes come from.

Hourly temperatures are joined by straight lines and integrated between the thresholds, midnight to
midnight, March to October. How near a sine comes is a property of the place: an evening sea breeze makes
days that no sine describes. So each station has its own limit, and a change here means that the heat
changed, not the weather."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from program import rows

RECORDS = Path(__file__).parent.parent / "data" / "stations" / "hourly"
LOWER_C, UPPER_C = (55 - 32) / 1.8, (94 - 32) / 1.8
STEPS = 60  # an hour's straight line is integrated minute by minute

# Station: days, hourly degree-days °F, bias of the sum in %, root mean square and worst day, °F-days. The
# numbers were worked out from the same records without this program (see the records' PROVENANCE.md).
EXPECTED = {
    "TMY3-FRESNO": (245, 4186, -0.1, 0.9, 3.4),
    "TMY3-MERCED": (245, 3530, +1.3, 1.2, 4.2),
    "TMY3-MODESTO": (245, 3461, +3.4, 1.1, 3.5),
    "TMY3-RED-BLUFF": (245, 3738, 0.0, 1.1, 3.7),
    "TMY3-SACRAMENTO": (245, 2850, +11.6, 1.8, 4.7),
    "ASOS-EWR-2013": (237, 2807, -0.5, 0.9, 3.0),
}


def whole_days(name):
    """Temperatures by day, 25 a day: both midnights count."""
    record = pd.read_csv(RECORDS / f"{name}.csv.gz", index_col=0, parse_dates=True)
    hours = record["temp_c"].astype(float).resample("h").first()
    days = {}
    for day in pd.date_range(hours.index[0].normalize(), hours.index[-1].normalize()):
        of_day = hours.reindex(pd.date_range(day, periods=25, freq="h"))
        if 3 <= day.month <= 10 and of_day.notna().all():
            days[day] = of_day.to_numpy()
    return days


def integrated(hours):
    """Degree-days °F of 25 hourly temperatures, °C, joined by straight lines."""
    at = np.linspace(0, 24, 24 * STEPS + 1)
    curve = np.interp(at, np.arange(25), hours)
    gained = np.clip(curve, LOWER_C, UPPER_C) - LOWER_C
    return 1.8 * np.trapezoid(gained, at / 24)


def by_extremes(folder, days):
    """Degree-days °F of each day, by the program, from the lowest and highest of its hours."""
    path = folder / "days.csv"
    lines = [f"{day:%Y-%m-%d},{hours.min()},{hours.max()}" for day, hours in days.items()]
    path.write_text("\n".join(["date,tmin,tmax", *lines]))
    return np.array([1.8 * float(row["degree_days"]) for row in rows("heat", path, "--unit", "c")])


@pytest.mark.parametrize("name", EXPECTED)
def test_single_sine_is_as_near_to_hourly_temperatures_as_the_place_allows(name, tmp_path, capsys):
    days = whole_days(name)
    truth = np.array([integrated(hours) for hours in days.values()])
    error = by_extremes(tmp_path, days) - truth
    found = (len(truth), truth.sum(), 100 * error.sum() / truth.sum(),
             np.sqrt((error ** 2).mean()), abs(error).max())
    with capsys.disabled():
        print(f"\n{name:16} {found[0]} days {found[1]:5.0f} °F-days, single sine {found[2]:+5.1f} %, "
              f"day rms {found[3]:.2f}, worst {found[4]:.1f}", end="")
    count, total, bias, rms, worst = EXPECTED[name]
    assert found[0] == count
    assert found[1] == pytest.approx(total, abs=2)
    assert found[2] == pytest.approx(bias, abs=0.1)
    assert found[3] == pytest.approx(rms, abs=0.06)
    assert found[4] == pytest.approx(worst, abs=0.06)
