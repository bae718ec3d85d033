"""The proofs run the program whose path is in DUSKFLIGHT on real station records; `tests/run` sets it."""

import gzip
import os
import sys
from pathlib import Path

import pytest

# The simulated seasons live beside the independent references.
sys.path.append(str(Path(__file__).parent.parent / "oracle"))

RECORDS = Path(__file__).parent.parent / "data" / "stations" / "daily"


def pytest_configure():
    if not os.access(os.environ.get("DUSKFLIGHT", ""), os.X_OK):
        pytest.exit("set DUSKFLIGHT to the path of the program to test", returncode=2)


@pytest.fixture(scope="session")
def records(tmp_path_factory):
    """A folder with the shipped station records, unpacked: NAME.csv, station,date,tmin_c,tmax_c."""
    folder = tmp_path_factory.mktemp("records")
    for packed in sorted(RECORDS.glob("*.csv.gz")):
        (folder / packed.stem).write_bytes(gzip.decompress(packed.read_bytes()))
    return folder
