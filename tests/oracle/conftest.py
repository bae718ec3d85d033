"""The suite tests the program whose path is in DUSKFLIGHT; `tests/run` sets it."""

import os

import pytest


def pytest_configure():
    if not os.access(os.environ.get("DUSKFLIGHT", ""), os.X_OK):
        pytest.exit("set DUSKFLIGHT to the path of the program to test", returncode=2)
