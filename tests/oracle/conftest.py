"""The suite tests the program whose path is in DUSKFLIGHT; `tests/run` sets it."""

import email
import email.policy
import os
import subprocess
import tomllib

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


def parsed(file):
    """The message in a file."""
    return email.message_from_bytes(file.read_bytes(), policy=email.policy.default)


@pytest.fixture(scope="session")
def mails(farm):
    """Name and parsed message of every mail."""
    files = sorted((farm / "mail").iterdir())
    assert len(files) > 300
    return [(f.name, parsed(f)) for f in files]


@pytest.fixture(scope="session")
def people(farm):
    """The people of the farm by their id."""
    config = tomllib.loads((farm / "duskflight.toml").read_text())
    return {person["id"]: person for person in config["person"]}
