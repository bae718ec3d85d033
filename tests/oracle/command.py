"""Runs `duskflight heat`, the program under test, and reads what it writes."""

import csv
import os
import subprocess
from datetime import date, timedelta
from typing import NamedTuple

FIRST = date(2001, 1, 1)


class HeatDay(NamedTuple):
    """One line of the command's CSV output; temperatures and degree-days in one unit."""

    date: date
    tmin: float
    tmax: float
    degree_days: float
    total: float


def consecutive(days):
    """Gives (tmin, tmax) pairs dates that follow each other: (date, tmin, tmax)."""
    return [(FIRST + timedelta(at), tmin, tmax) for at, (tmin, tmax) in enumerate(days)]


def heat(days, method, cutoff=None, unit="f", lower=None, upper=None):
    """Sends (date, tmin, tmax) rows through the command; floats keep every digit both ways."""
    arguments = ["heat", "-", "--format", "csv", "--unit", unit, "--method", method]
    options = {"--cutoff": cutoff, "--lower": lower, "--upper": upper}
    for option, value in options.items():
        arguments += [] if value is None else [option, str(value)]
    rows = [f"{day},{float(tmin)!r},{float(tmax)!r}\n" for day, tmin, tmax in days]
    done = run(arguments, "date,tmin,tmax\n" + "".join(rows))
    assert done.returncode == 0, done.stderr
    return [
        HeatDay(date.fromisoformat(row["date"]), *(float(row[name]) for name in HeatDay._fields[1:]))
        for row in csv.DictReader(done.stdout.splitlines())
    ]


def run(arguments, text=""):
    """Runs the program with a text on its standard input."""
    return subprocess.run(
        [os.environ["DUSKFLIGHT"], *arguments],
        input=text, capture_output=True, text=True, check=False, timeout=60,
    )
