"""The proofs run the program on real station records."""

import gzip
import sys
from pathlib import Path

import pytest

# The simulated seasons live beside the independent references.
sys.path.append(str(Path(__file__).parent.parent / "oracle"))

RECORDS = Path(__file__).parent.parent / "data" / "stations" / "daily"


@pytest.fixture(scope="session")
def records(tmp_path_factory):
    """A folder with the shipped station records, unpacked: NAME.csv, station,date,tmin_c,tmax_c."""
    folder = tmp_path_factory.mktemp("records")
    for packed in sorted(RECORDS.glob("*.csv.gz")):
        (folder / packed.stem).write_bytes(gzip.decompress(packed.read_bytes()))
    return folder
