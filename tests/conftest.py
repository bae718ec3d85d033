"""The suites test the program whose path is in DUSKFLIGHT; `tests/run` sets it."""

import os
import subprocess

import pytest


def pytest_configure():
    if not os.access(os.environ.get("DUSKFLIGHT", ""), os.X_OK):
        pytest.exit("set DUSKFLIGHT to the path of the program to test", returncode=2)


@pytest.fixture(scope="session")
def farm(tmp_path_factory):
    """The folder of a season played by the program under test."""
    folder = tmp_path_factory.mktemp("demo")
    subprocess.run([os.environ["DUSKFLIGHT"], "demo", "--dir", folder], check=True, stdout=subprocess.DEVNULL)
    return folder
