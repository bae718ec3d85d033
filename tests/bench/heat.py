"""Degree-days of ten million station days with numpy, the same days as core/benches/heat.rs. With --rows it
writes a million of them as a file for `duskflight heat`."""

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parent.parent.parent

DAYS, RUNS, ROWS = 10_000_000, 5, 1_000_000


def days():
    """The days of the demo's record on which both temperatures are known, over and over, °F."""
    record = pd.read_csv(ROOT / "daemon" / "src" / "demo" / "merced.csv").iloc[:, 1:].dropna()
    low, high = record.to_numpy().T * 1.8 + 32
    return np.resize(low, DAYS), np.resize(high, DAYS)


def above(low, high, threshold):
    """Area of each day's sine above a threshold; the curve only where it crosses."""
    mean, half = (low + high) / 2, (high - low) / 2
    area = np.where(low >= threshold, mean - threshold, 0.0)
    across = (low < threshold) & (high > threshold)
    angle = np.arcsin((threshold - mean[across]) / half[across])
    area[across] = ((mean[across] - threshold) * (np.pi / 2 - angle)
                    + half[across] * np.cos(angle)) / np.pi
    return area


def write_rows():
    """A million days running, as far back as years have four digits."""
    low, high = (element[:ROWS] for element in days())
    dates = np.datetime_as_string(np.datetime64("1000-01-01") + np.arange(ROWS))
    print("date,tmin,tmax")
    sys.stdout.writelines(f"{day},{tmin:.1f},{tmax:.1f}\n" for day, tmin, tmax in zip(dates, low, high))


def main():
    low, high = days()
    seconds = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        total = (above(low, high, 55.0) - above(low, high, 94.0)).sum()
        seconds.append(time.perf_counter() - begun)
    print(f"total {total:.6f}")
    print(f"seconds {np.median(seconds):.4f}")


if __name__ == "__main__":
    write_rows() if "--rows" in sys.argv else main()
