"""Runs the program under test."""

import csv
import os
import subprocess


def rows(*arguments):
    """What a command writes as CSV, a dictionary a row."""
    done = subprocess.run(
        [os.environ["DUSKFLIGHT"], *map(str, arguments), "--format", "csv"],
        capture_output=True, text=True, check=False, timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return list(csv.DictReader(done.stdout.splitlines()))
