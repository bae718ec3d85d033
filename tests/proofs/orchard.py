"""A farm of the program in a folder: invented people, and stations, blocks, traps and records that are given."""

import csv
import json
import os
import subprocess

FARM = """
insects = ["{insects}/navel-orangeworm.toml", "{insects}/navel-orangeworm-pistachio.toml"]
[farm]
name = "Simulated orchards"
timezone = "America/Los_Angeles"
[mail]
from = "duskflight@orchards.example"
folder = "mail"
[[person]]
id = "ada"
name = "Ada Vance"
role = "adviser"
email = "ada@orchards.example"
phone = "559-555-0101"
[[person]]
id = "gil"
name = "Gil Marrow"
role = "grower"
email = "gil@orchards.example"
"""
STATION = """
[[station]]
id = "{id}"
name = "{id}"
[station.table]
source = "{id}.csv"
date_column = "date"
min_column = "min"
max_column = "max"
unit = "c"
"""
BLOCK = {"grower": "gil", "adviser": "ada", "crop": "almond", "varieties": "Nonpareil"}


class Orchard:
    """The folder, once the program has taken in the temperatures of its stations: rows of date, min and max by id."""

    def __init__(self, folder, insects, stations, newest, more=""):
        self.folder = folder
        declared = [FARM.format(insects=insects), *(STATION.format(id=name) for name in stations), more]
        (folder / "duskflight.toml").write_text("".join(declared))
        for name, days in stations.items():
            write(folder / f"{name}.csv", days)
        self.fetch(next(iter(stations)), newest)

    def fetch(self, station, newest):
        """A night with one empty block brings the temperatures in without telling anything."""
        write(self.folder / "blocks.csv", [block("empty", station)])
        write(self.folder / "traps.csv", [dict.fromkeys(("id", "block", "kind", "hung"))])
        if not (self.folder / "duskflight.sqlite").exists():
            subprocess.run([os.environ["DUSKFLIGHT"], "init", self.folder, "--records"], capture_output=True, check=True)
        self.run("nightly", "--as-of", newest)

    def declare(self, blocks, traps):
        write(self.folder / "blocks.csv", blocks)
        write(self.folder / "traps.csv", traps)

    def enter(self, visits, notes):
        for kind, rows in (("visits", visits), ("notes", notes)):
            write(self.folder / f"{kind}.csv", rows)
            self.run(kind, "import", self.folder / f"{kind}.csv")

    def as_of(self, date):
        """Every block's season as the program sees it on a day, by block."""
        told = self.run("season", "--as-of", date, "--format", "json")
        return {season["block"]: season for season in json.loads(told)}

    def run(self, *arguments):
        command = [os.environ["DUSKFLIGHT"], *map(str, arguments), "--config", str(self.folder)]
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
        assert done.returncode == 0, done.stderr + done.stdout
        return done.stdout


def block(name, station, regime="conventional"):
    return {"id": name, "name": name, "regime": regime, "station": station, **BLOCK}


def write(path, rows):
    rows = list(rows)
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=rows[0])
        writer.writeheader()
        writer.writerows(row for row in rows if any(row.values()))
