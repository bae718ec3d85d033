"""Degree-days of ten million station days with numpy, the same days as core/benches/heat.rs."""

import time
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parent.parent.parent

DAYS, RUNS = 10_000_000, 5


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
    main()
