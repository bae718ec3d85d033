"""Mails of a farm whose every name and text tries to break them, made by the program under test."""

import csv
import email
import email.policy
import json
import os
import re
import shutil
import sqlite3
import subprocess
import unicodedata
from collections import Counter

import pytest
from markup import faults

NAMES = [
    "North\r\nBcc: thief@evil.example\r\n\r\nfree text",
    "<script>alert('x')</script><img src=//evil.example/x.png>\" onload=\"x",
    "Finca Peñón 🌰👩‍🌾 {{ 7 * 7 }} & <b>",
    ".",
    "\u202egnirts\u2066 back\u200fwards\u0085 and\u2028on",
    "x" * 100,
    "=?utf-8?q?=0D=0ABcc:_thief=40evil.example?=",
]
LONG = "<i>" + "y" * 1500 + " \r\n.\r\n" + "ñ 🌰 " * 120
MORNINGS = ["2022-04-15", "2022-04-20", "2022-06-23", "2022-07-02", "2022-07-10", "2022-08-01", "2022-08-22"]
OUR_HEADERS = {
    "Date",
    "Message-ID",
    "From",
    "To",
    "Subject",
    "Auto-Submitted",
    "X-Auto-Response-Suppress",
    "Reply-To",
    "In-Reply-To",
    "References",
    "MIME-Version",
    "Content-Type",
}


def run(*arguments):
    """Runs the program under test."""
    return subprocess.run([os.environ["DUSKFLIGHT"], *arguments], capture_output=True, text=True)


def renamed(text, key, names):
    """A TOML text whose values of a key are the given names, in turn."""
    lines, names = [], iter(names)
    for line in text.split("\n"):
        if line.startswith(f"{key} = "):
            line = f"{key} = {json.dumps(next(names), ensure_ascii=False)}"
        lines.append(line)
    return "\n".join(lines)


def rename_blocks(folder, names):
    """Gives the blocks hostile names, and calls every late variety Monterey by one of them."""
    with open(folder / "blocks.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    for number, row in enumerate(rows):
        again = f" {number // len(names) + 1}" if number >= len(names) else ""
        row["name"] = names[number % len(names)] + again
        row["varieties"] = row["varieties"].replace("Monterey", NAMES[1])
    with open(folder / "blocks.csv", "w", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture(scope="module")
def farm(farm, tmp_path_factory):
    """The demo's farm at the end of its season, with hostile names."""
    folder = tmp_path_factory.mktemp("hostile") / "farm"
    shutil.copytree(farm, folder)
    config = folder / "duskflight.toml"
    # The farm, the station and six people, and where the numbers of the products come from.
    names = [NAMES[1], NAMES[2], NAMES[0], NAMES[1], NAMES[4], NAMES[5], NAMES[6], NAMES[2]]
    text = renamed(config.read_text(), "name", names)
    text = renamed(text, "note", [LONG])
    config.write_text(renamed(text, "source", NAMES))
    rename_blocks(folder, NAMES)
    with sqlite3.connect(folder / "duskflight.sqlite") as records:
        records.execute("UPDATE note SET variety = ? WHERE variety = 'Monterey'", [NAMES[1]])
        records.execute("UPDATE note SET note = ?", [LONG])
    return folder


@pytest.fixture(scope="module")
def mails(farm):
    """Name and bytes of all kinds of mails of several mornings."""
    made = {}
    for day in MORNINGS:
        for kind in ("digest", "alerts"):
            out = farm / f"{day}-{kind}"
            said = run("preview", kind, "--config", farm, "--as-of", day, "--out", out)
            assert said.returncode == 0, said.stderr
            made |= {f"{day} {file.name}": file.read_bytes() for file in out.glob("*.eml")}
    assert sum("digest" in name for name in made) == len(MORNINGS)
    assert sum("alert" in name for name in made) > 6
    return made


def parsed(data):
    """A mail as Python reads it."""
    return email.message_from_bytes(data, policy=email.policy.default)


def test_no_name_opens_a_header_or_breaks_a_line(mails):
    for name, data in mails.items():
        message = parsed(data)
        assert set(message.keys()) <= OUR_HEADERS, name
        assert len(message.keys()) == len(set(message.keys())), name
        for part in message.walk():
            assert part.defects == [], name
            for header, value in part.items():
                assert getattr(value, "defects", ()) == (), f"{name}: {header}"
        assert len(message["To"].addresses) == len(message["From"].addresses) == 1, name
        assert len(message["Subject"]) <= 60, name
        assert data.isascii() and b"\n" not in data.replace(b"\r\n", b""), name
        headers, body = data.split(b"\r\n\r\n", 1)
        assert max(map(len, body.split(b"\r\n"))) <= 78, name
        # An encoded name stays on the line of its address, so these may be a little longer.
        assert max(map(len, headers.split(b"\r\n"))) <= 110, name
        # No name is taken for an encoded word, which mail programs would decode.
        assert b"=?utf-8?q?=0D" not in headers, name


def test_the_html_stays_well_formed_loads_nothing_and_keeps_the_text(mails):
    for name, data in mails.items():
        markup = parsed(data).get_body(("html",)).get_content()
        assert faults(markup) == [], name
        assert len(markup.encode()) < 80_000, name
        for bad in ("<script", "& <b>", "<i>", "<img src=//", "\u202e", "\u2066", "{{ 7 * 7 }} & "):
            assert bad not in markup, f"{name}: {bad}"
        assert "&#60;script&#62;" in markup, name
        assert "{{ 7 * 7 }}" in markup or "alert" in name, name


def columns(line):
    """Columns that a line takes: marks of direction take none."""
    return sum(unicodedata.category(character) != "Cf" for character in line)


def test_the_text_keeps_every_name_whole_within_its_width(mails):
    named = Counter()
    for name, data in mails.items():
        text = parsed(data).get_body(("plain",)).get_content()
        assert max(map(columns, text.splitlines())) <= 76, name
        flat = "".join(text.split())
        kind = "digest" if "digest" in name else "alert"
        named.update((kind, at) for at in (1, 2, 5, 6) if "".join(NAMES[at].split()) in flat)
        # No name is cut short: as many characters of the long one stand in a row as it has.
        assert set(map(len, re.findall("x{5,}", flat))) <= {100}, name
    # A digest names the blocks that have something to say, an alert those of its grower.
    for at in (1, 2, 5, 6):
        assert named["digest", at] > 2 and named["alert", at] > 0, (named, at)


def test_a_name_of_2000_characters_is_refused_by_its_length(farm):
    for change in ("blocks.csv", "duskflight.toml"):
        folder = farm.parent / change
        shutil.copytree(farm, folder)
        if change == "blocks.csv":
            rename_blocks(folder, ["x" * 2000])
        else:
            config = folder / change
            config.write_text(renamed(config.read_text(), "name", ["x" * 2000] * 8))
        said = run("check", "--config", folder)
        assert said.returncode == 78, said
        assert "it has 2000 characters; mails have room for 100" in said.stdout + said.stderr
