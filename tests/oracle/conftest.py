"""What a season played by the program under test wrote."""

import email
import email.policy
import tomllib

import pytest


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
