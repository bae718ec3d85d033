"""Runs the program under test."""

import csv
import os
import subprocess


def rows(*arguments):
    """What a command writes as CSV, a dictionary a row."""
    return list(csv.DictReader(run(*arguments).stdout.splitlines()))


def notes(*arguments):
    """What a command says beside its CSV."""
    return run(*arguments).stderr


def run(*arguments):
    done = subprocess.run(
        [os.environ["DUSKFLIGHT"], *map(str, arguments), "--format", "csv"],
        capture_output=True, text=True, check=False, timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return done
