"""Simulated seasons as a farm of the program: one block a season, all in one year."""

import csv
import datetime
import json
import os
import subprocess

from seasons import parameters, plan, traps, weather

FARM = """
insects = ["{insects}/navel-orangeworm.toml"]
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
PRODUCT = """
[[product]]
id = "{kind}-{part}"
part = "{part}"
life_days = {life}
source = "the generator's own"
"""
BLOCK = {"grower": "gil", "adviser": "ada", "crop": "almond", "varieties": "Nonpareil"}


class Farm:
    """A folder with the seasons' blocks, whose readings and temperatures the program has taken in."""

    def __init__(self, folder, seasons, insects):
        self.folder, self.seasons = folder, seasons
        self.stations = sorted({(season.station, season.year) for season in seasons})
        self.write_declared(insects)
        self.fetch()
        self.write_blocks_and_traps()
        write(folder / "visits.csv", visits_of(seasons))
        write(folder / "notes.csv", notes_of(seasons))
        self.run("visits", "import", folder / "visits.csv")
        self.run("notes", "import", folder / "notes.csv")

    def write_declared(self, insects):
        text = FARM.format(insects=insects)
        for station, year in self.stations:
            name = station_id(station, year)
            text += STATION.format(id=name)
            low, high = weather.extremes(station, year)
            write(self.folder / f"{name}.csv",
                  [{"date": traps.civil(day), "min": f"{low[day]:.1f}", "max": f"{high[day]:.1f}"}
                   for day in range(weather.DAYS)])
        for kind, lives in traps.LIVES.items():
            for part, life in lives.items():
                text += PRODUCT.format(kind=kind, part=part, life=life)
                text += f"area_cm2 = {parameters.LINER_CM2}\n" if part == "liner" else ""
        (self.folder / "duskflight.toml").write_text(text)

    def fetch(self):
        """A night with one empty block brings the temperatures in without telling anything."""
        write(self.folder / "blocks.csv", [block_row("empty", self.stations[0], "conventional")])
        write(self.folder / "traps.csv", [dict.fromkeys(("id", "block", "kind", "hung"))])
        self.run("nightly", "--as-of", traps.civil(weather.DAYS - 1))

    def write_blocks_and_traps(self):
        write(self.folder / "blocks.csv", [
            block_row(season.name, (season.station, season.year),
                      "mating-disruption" if season.kind in plan.DISRUPTED else "conventional")
            for season in self.seasons])
        write(self.folder / "traps.csv", [
            {"id": name, "block": season.name, "kind": trap.kind, "hung": traps.civil(trap.hung),
             **{part: f"{trap.kind}-{part}" if part in traps.LIVES[trap.kind] else ""
                for part in ("lure", "ppo", "bait", "liner")}}
            for season in self.seasons for name, trap in named_traps(season)])

    def as_of(self, day):
        """Every block's season as the program sees it on a day, by block."""
        told = self.run("season", "--as-of", traps.civil(day), "--format", "json")
        return {season["block"]: season for season in json.loads(told)}

    def run(self, *arguments):
        command = [os.environ["DUSKFLIGHT"], *map(str, arguments), "--config", str(self.folder)]
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
        assert done.returncode == 0, done.stderr + done.stdout
        return done.stdout


def station_id(station, year):
    return f"{station.lower()}-{year}"


def block_row(name, station_year, regime):
    return {"id": name, "name": name, "regime": regime, "station": station_id(*station_year), **BLOCK}


def named_traps(season):
    """A season's traps with the ids they have in the farm."""
    both = (("e", season.egg_traps), ("m", season.moth_traps))
    return [(f"{season.name}-{letter}{at}", trap)
            for letter, of_kind in both for at, trap in enumerate(of_kind, 1)]


def visits_of(seasons):
    for season in seasons:
        for name, trap in named_traps(season):
            for visit in trap.visits:
                row = {"date": traps.civil(visit.day), "trap": name, "eggs": "", "moths": "",
                       "males": "", "females": "", "readable": "no" if visit.count is None else "yes",
                       "serviced": " ".join(visit.serviced)}
                if visit.count is not None:
                    row[traps.COUNTS[trap.kind]] = visit.count
                yield row


def notes_of(seasons):
    for season in seasons:
        yield {"date": traps.civil(season.hull_split), "block": season.name, "variety": "Nonpareil",
               "kind": "hull-split"}


def write(path, rows):
    rows = list(rows)
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=rows[0])
        writer.writeheader()
        writer.writerows(row for row in rows if any(row.values()))


def day_of_year(text):
    """0 for 1 January; None for none."""
    return text and (datetime.date.fromisoformat(text) - traps.civil(0)).days
