"""Simulated seasons as a farm of the program: one block a season, all in one year."""

import datetime

from orchard import Orchard, block
from seasons import parameters, plan, traps, weather

PRODUCT = """
[[product]]
id = "{kind}-{part}"
part = "{part}"
life_days = {life}
source = "the generator's own"
"""


class Farm(Orchard):
    """A folder with the seasons' blocks, whose readings and temperatures the program has taken in."""

    def __init__(self, folder, seasons, insects):
        self.seasons = seasons
        stations = sorted({(season.station, season.year) for season in seasons})
        days = {station_id(*of): days_of(*of) for of in stations}
        super().__init__(folder, insects, days, traps.civil(weather.DAYS - 1), products())
        self.declare([block_of(season) for season in seasons], traps_of(seasons))
        self.enter(visits_of(seasons), notes_of(seasons))

    def as_of(self, day):
        return super().as_of(traps.civil(day))


def products():
    text = ""
    for kind, lives in traps.LIVES.items():
        for part, life in lives.items():
            text += PRODUCT.format(kind=kind, part=part, life=life)
            text += f"area_cm2 = {parameters.LINER_CM2}\n" if part == "liner" else ""
    return text


def days_of(station, year):
    low, high = weather.extremes(station, year)
    return [{"date": traps.civil(day), "min": f"{low[day]:.1f}", "max": f"{high[day]:.1f}"}
            for day in range(weather.DAYS)]


def block_of(season):
    regime = "mating-disruption" if season.kind in plan.DISRUPTED else "conventional"
    return block(season.name, station_id(season.station, season.year), regime)


def traps_of(seasons):
    for season in seasons:
        for name, trap in named_traps(season):
            fitted = {part: f"{trap.kind}-{part}" if part in traps.LIVES[trap.kind] else ""
                      for part in ("lure", "ppo", "bait", "liner")}
            yield {"id": name, "block": season.name, "kind": trap.kind, "hung": traps.civil(trap.hung), **fitted}


def station_id(station, year):
    return f"{station.lower()}-{year}"


def named_traps(season):
    """A season's traps with the ids they have in the farm."""
    kinds = (("e", season.egg_traps), ("m", season.moth_traps), ("c", season.beside_traps))
    return [(f"{season.name}-{letter}{at}", trap)
            for letter, of_kind in kinds for at, trap in enumerate(of_kind, 1)]


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


def day_of_year(text):
    """0 for 1 January; None for none."""
    return text and (datetime.date.fromisoformat(text) - traps.civil(0)).days
