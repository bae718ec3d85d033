"""The reference values and station records under tests/data."""

import csv
from datetime import date
from pathlib import Path

DATA = Path(__file__).parents[1] / "data"


def rows(name):
    """The rows of a CSV file as dictionaries of text."""
    with open(DATA / name, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def station_days(name, first):
    """The complete days of a station record from a date on: (date, tmin, tmax), °C."""
    days = [
        (date.fromisoformat(row["date"]), float(row["tmin_c"]), float(row["tmax_c"]))
        for row in rows(f"stations/{name}.csv")
        if row["tmin_c"] and row["tmax_c"]
    ]
    return [day for day in days if day[0] >= first]
