"""What the program reads from real counts of moth traps: `real_counts.py FOLDER`, or the folder that
DUSKFLIGHT_COUNTS names. DUSKFLIGHT is the path of the program.

Every CSV there has the columns crop, regime (conventional or mating-disruption), attractant (pheromone,
pheromone-ppo, or another, which is left out), trap, read (the day), nights, moths (empty: not readable).
Each crop and regime becomes an invented block. Temperatures are those of a shipped record of the southern
San Joaquin Valley in the same year. Nothing is known of the service of these traps; liners are taken as
changed at every reading, lures as fresh.

Nobody wrote down which flights there really were, so nothing is compared with a truth. What is checked is
the calendar of almond: there a highest catch between 20 June and 20 July is the second flight's and one
in August the third's."""

import csv
import os
import sys
from collections import defaultdict
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

PROOFS = Path(__file__).parent
sys.path.append(str(PROOFS.parent / "oracle"))

from orchard import Orchard, block, write  # noqa: E402
from seasons import weather  # noqa: E402

INSECTS = PROOFS.parents[1] / "config" / "insects"
STATIONS = ("CIMIS-15", "CIMIS-39", "CIMIS-80")  # Stratford, Parlier, Fresno State
COLUMN = {"pheromone": "males", "pheromone-ppo": "moths"}
CALENDAR = {2: ((6, 20), (7, 20)), 3: ((8, 1), (8, 31))}


def readings(path):
    """The rows of a file by block, a crop under a regime; and the attractants that are no trap of the program's."""
    blocks, left_out = defaultdict(list), set()
    with path.open(newline="") as file:
        for row in csv.DictReader(file):
            if row["attractant"] in COLUMN:
                blocks[row["crop"], row["regime"]].append(row)
            else:
                left_out.add(row["attractant"])
    return blocks, left_out


def station_days(year):
    """A shipped record of the year, whole."""
    station = next((name for name in STATIONS if weather.extremes(name, year) is not None), None)
    if station is None:
        sys.exit(f"no shipped record of the southern San Joaquin Valley is whole in {year}")
    low, high = weather.extremes(station, year)
    first = date(year, 1, 1)
    days = [{"date": first + timedelta(day), "min": f"{low[day]:.1f}", "max": f"{high[day]:.1f}"}
            for day in range(weather.DAYS)]
    return station.lower(), days


def name_of(of):
    return "-".join(of)


def trap_of(of, row):
    return f"{of[0][:1]}-{of[1][:1]}-{row['attractant']}-{row['trap']}"


def traps(blocks):
    """Each trap once, hung so many nights before its first reading as that says."""
    for of, rows in blocks.items():
        first = {}
        for row in sorted(rows, key=lambda row: row["read"]):
            first.setdefault(trap_of(of, row), row)
        for trap, row in first.items():
            hung = date.fromisoformat(row["read"]) - timedelta(int(row["nights"]))
            yield {"id": trap, "block": name_of(of), "kind": row["attractant"], "hung": hung}


def visits(blocks):
    for of, rows in blocks.items():
        for row in rows:
            visit = {"date": row["read"], "trap": trap_of(of, row), "males": "", "moths": "",
                     "readable": "yes" if row["moths"] else "no", "serviced": "liner"}
            yield visit | ({COLUMN[row["attractant"]]: row["moths"]} if row["moths"] else {})


def seasons(blocks, folder):
    """What the program says of each block on the day after the last reading."""
    last = max(date.fromisoformat(row["read"]) for rows in blocks.values() for row in rows)
    station, days = station_days(last.year)
    farm = Orchard(folder, INSECTS, {station: days}, last)
    declared = [block(name_of(of), station, of[1]) | {"crop": of[0]} for of in blocks]
    farm.declare(declared, traps(blocks))
    write(folder / "visits.csv", visits(blocks))
    farm.run("visits", "import", folder / "visits.csv")
    return station, farm.as_of(last + timedelta(1))


def nights(of_round):
    return f"{of_round['after']} to {of_round['by']}" if of_round else "not told"


def rate(of_round):
    return of_round["count"] / max(of_round["trap_nights"], 1)


def show(of, flights):
    print(f"\n{of[0]}, {of[1]}: read from {flights['kind']} traps ({flights['counted']})")
    if far := flights["far_below"]:
        print(f"  since {far['by']}: {far['males']} males in {far['male_trap_nights']} trap-nights beside "
              f"{far['moths']} moths in {far['moth_trap_nights']}")
    for flight in flights["seen"]:
        highest, peak = flight["highest"], flight["peak"]
        print(f"  {flight['name'] or 'flight ' + str(flight['number'])}: started {nights(flight['start']['in'])}"
              f" ({flight['start']['reason'] or 'seen'}); highest {nights(highest)}, {rate(highest):.1f} a trap and "
              f"night ({peak['status']}); end {nights(flight['end']['in'])} ({flight['end']['reason'] or 'seen'})")


def off_the_calendar(of, flights):
    """Flights of almond that have another number than their time of the year."""
    if of[0] != "almond":
        return
    for flight in flights["seen"]:
        day = date.fromisoformat(flight["highest"]["by"])
        for number, (first, last) in CALENDAR.items():
            if first <= (day.month, day.day) <= last and flight["number"] != number:
                yield f"{name_of(of)}: highest by {day} is flight {flight['number']}, not {number}"


def main(folder):
    if "DUSKFLIGHT" not in os.environ:
        sys.exit("set DUSKFLIGHT to the path of the program")
    wrong = []
    for path in sorted(Path(folder).glob("*.csv")):
        blocks, left_out = readings(path)
        with TemporaryDirectory() as scratch:
            station, told = seasons(blocks, Path(scratch))
        print(f"{path.name}: temperatures of {station}; left out: {', '.join(sorted(left_out)) or 'nothing'}")
        for of in blocks:
            flights = told[name_of(of)]["flights"]
            show(of, flights)
            wrong += off_the_calendar(of, flights)
    sys.exit("\n".join(wrong) or None)


if __name__ == "__main__":
    named = sys.argv[1] if len(sys.argv) > 1 else os.environ.get("DUSKFLIGHT_COUNTS")
    if named:
        main(named)
    else:
        print("real counts: not run, DUSKFLIGHT_COUNTS names no folder")
