"""Writes a farm of 10,000 blocks on 200 stations with 30 past years: a folder to do a night's work in, with
the records of its first night and, beside, those of one before which 20,000 mails were sent.

    tests/bench/farm.py FOLDER [BLOCKS [DAY]]

Station days are the Fresno record of 1980 to 2010 moved to 1992 to 2022, each station a little warmer or
cooler and with noise of its own; each block has four egg traps read twenty times. The same seed gives the
same farm. One of so many BLOCKS has a station for fifty of them, and no mails were sent. DAY is the day before which
the records end, 2022-06-20 else; all of it is then moved to its year."""

import gzip
import shutil
import sqlite3
import sys
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parent.parent.parent
BLOCKS = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
STATIONS, ADVISERS, TRAPS, VISITS = BLOCKS // 50, BLOCKS // 100, 4, 20
DAY = sys.argv[3] if len(sys.argv) > 3 else "2022-06-20"
YEAR = int(DAY[:4])
YEARS_ON = YEAR - 2010  # of 2022 a multiple of four, so that 29 February stays
# Released steps stay as they are; the program takes the later ones itself.
STEPS = ("schema.sql", "schema-2.sql", "schema-3.sql", "schema-4.sql")
HUNG, FIRST_READ = f"{YEAR}-03-10", f"{YEAR}-03-15"
NOW = 1655730000
MAILS, MAIL_BYTES, TOLD_A_MAIL, EARLIER_YEARS = 20_000, 12_000, 5, (2019, 2020, 2021)

MAIN = """insects = ["navel-orangeworm.toml"]
[farm]
name = "Many blocks"
timezone = "America/Los_Angeles"
[mail]
from = "duskflight@orchards.example"
folder = "mail"
"""


def people():
    for n in range(ADVISERS):
        yield f'[[person]]\nid = "ada{n}"\nname = "Adviser {n}"\nrole = "adviser"\n'
        yield f'email = "ada{n}@orchards.example"\nphone = "559-555-0101"\n'
        yield f'[[person]]\nid = "gil{n}"\nname = "Grower {n}"\nrole = "grower"\n'
        yield f'email = "gil{n}@orchards.example"\n'


def stations():
    for n in range(STATIONS):
        yield f'[[station]]\nid = "s{n}"\nname = "Station {n}"\n[station.table]\nsource = "none.csv"\n'
        yield 'date_column = "date"\nmin_column = "low"\nmax_column = "high"\nunit = "c"\n'


def write_folder(folder):
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "duskflight.toml").write_text(MAIN + "".join([*people(), *stations()]))
    insect = ROOT / "config" / "insects" / "navel-orangeworm.toml"
    (folder / "navel-orangeworm.toml").write_text(insect.read_text())
    blocks = (f"b{n},,Block {n},gil{n % ADVISERS},ada{n % ADVISERS},almond,40,conventional,,,"
              f"s{n % STATIONS},Nonpareil,,\n" for n in range(BLOCKS))
    (folder / "blocks.csv").write_text(
        "id,from,name,grower,adviser,crop,acres,regime,dispensers_on,dispensers_until,station,"
        "varieties,start_group,start_rule\n" + "".join(blocks))
    traps = (f"b{n}e{t},b{n},egg,{HUNG},,,row {t},,,,\n" for n in range(BLOCKS) for t in range(TRAPS))
    (folder / "traps.csv").write_text(
        "id,block,kind,hung,removed,group,place,lure,ppo,bait,liner\n" + "".join(traps))


def station_days(chance):
    packed = ROOT / "tests" / "data" / "stations" / "daily" / "COOP-FRESNO-AP.csv.gz"
    with gzip.open(packed, "rt") as file:
        record = pd.read_csv(file)
    year = record["date"].str[:4].astype(int) + YEARS_ON
    days = (year.astype(str) + record["date"].str[4:]).to_numpy()
    kept = (days < DAY) & pd.notna(pd.to_datetime(days, errors="coerce"))
    values = record.loc[kept, ["tmin_c", "tmax_c"]].to_numpy()
    for n in range(STATIONS):
        noise = chance.normal(0, 0.6, values.shape) + chance.normal(0, 1.0)
        low, high = np.sort(values + noise).T.round(1)
        for day, tmin, tmax in zip(days[kept], low, high):
            both = [None if np.isnan(value) else float(value) for value in (tmin, tmax)]
            yield (f"s{n}", day, *both, "c", None, None, "station-table", NOW)


def visits(chance):
    dates = [f"{day:%Y-%m-%d}" for day in pd.date_range(FIRST_READ, periods=VISITS, freq="4D")]
    dates = [day for day in dates if day < DAY]
    first = chance.integers(5, 11, BLOCKS)
    for n in range(BLOCKS):
        for t in range(TRAPS):
            for at, day in enumerate(dates):
                eggs = 0 if at < first[n] else int(chance.poisson(3 + at - first[n])) + 1
                yield (f"b{n}e{t}", day, eggs, None, None, None, 1, "bait" if at % 7 == 0 else "", "",
                       NOW, "bench", "bench", f"{n}:{t}:{at}")


def write_records(path):
    path.unlink(missing_ok=True)
    database = sqlite3.connect(path)
    for step in STEPS:
        database.executescript((ROOT / "daemon" / "src" / "store" / step).read_text())
    database.execute(f"PRAGMA user_version = {len(STEPS)}")
    chance = np.random.default_rng(7)
    database.executemany("INSERT INTO station_day VALUES (?,?,?,?,?,?,?,?,?)", station_days(chance))
    database.executemany("INSERT INTO visit VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,0)", visits(chance))
    database.commit()
    database.close()


def sent():
    """Digests of earlier seasons that were taken over: message id, adviser, day, instant."""
    days = [day for year in EARLIER_YEARS for day in pd.date_range(f"{year}-04-01", f"{year}-09-30")]
    for n in range(MAILS):
        day, adviser = days[n // ADVISERS], f"ada{n % ADVISERS}"
        yield f"digest.{adviser}.{day:%Y-%m-%d}@orchards.example", adviser, day, int(day.timestamp())


def write_archive(path):
    """Adds the mails, and what they told, to records."""
    database = sqlite3.connect(path)
    body = b"x" * MAIL_BYTES
    database.executemany(
        "INSERT INTO outbox (message_id, kind, person, adviser, day, address, subject, body, queued_at, hold_s,"
        " state, attempts, refusals, doubtful, next_try_at, sent_at)"
        " VALUES (?, 'digest', ?, ?, ?, ?, 'A morning', ?, ?, 0, 'sent', 1, 0, 0, ?, ?)",
        ((mail, adviser, adviser, f"{day:%Y-%m-%d}", f"{adviser}@orchards.example", body, at, at, at)
         for mail, adviser, day, at in sent()))
    database.executemany(
        "INSERT INTO told (season, block, insect, event, person, revision, value, day, mail)"
        " VALUES (?, ?, 'navel-orangeworm', ?, ?, 1, ?, ?, ?)",
        ((day.year, f"b{n}", f"mark-passed:{day:%m-%d}", adviser, f"{day:%Y-%m-%d}", f"{day:%Y-%m-%d}", mail)
         for mail, adviser, day, _ in sent()
         for n in range(int(adviser[3:]), ADVISERS * TOLD_A_MAIL, ADVISERS)))
    database.commit()
    database.close()


if __name__ == "__main__":
    target = Path(sys.argv[1])
    write_folder(target)
    write_records(target / "duskflight.sqlite")
    if len(sys.argv) == 2:
        shutil.copy(target / "duskflight.sqlite", target / "thousandth.sqlite")
        write_archive(target / "thousandth.sqlite")
