"""Every entry of the calendar files of the demo's season, read by two independent calendar libraries."""

import csv
import datetime
import os
import re
import shutil
import subprocess
from collections import defaultdict
from dataclasses import dataclass
from email.message import EmailMessage

import icalendar
import pytest
import vobject
from conftest import parsed

CAUTION_ENDS = ("Information and projection only,", "about permits and local rules.")
PROPERTIES = {
    "CLASS", "DESCRIPTION", "DTEND", "DTSTAMP", "DTSTART", "ORGANIZER", "SEQUENCE", "STATUS", "SUMMARY", "TRANSP", "UID",
}  # fmt: skip


@dataclass
class File:
    """An entry of a calendar file, and the mail it came with."""

    mail: str
    message: EmailMessage
    part: EmailMessage
    raw: bytes
    event: icalendar.Event

    @property
    def calendar(self):
        return icalendar.Calendar.from_ical(self.raw)

    @property
    def text(self):
        """The mail's text on one line."""
        return " ".join(self.message.get_body(preferencelist=("plain",)).get_content().split())


def files_of(name, message):
    """The entries of the calendar file of a mail; there is one file at the most."""
    parts = [part for part in message.walk() if part.get_content_type() == "text/calendar"]
    assert len(parts) <= 1, name
    raws = [(part, part.get_payload(decode=True)) for part in parts]
    return [File(name, message, part, raw, event) for part, raw in raws for event in icalendar.Calendar.from_ical(raw).events]


@pytest.fixture(scope="module")
def files(mails):
    """All calendar entries of the season's mails, oldest first."""
    files = [file for name, message in mails for file in files_of(name, message)]
    assert len(files) > 40
    return files


@pytest.fixture(scope="module")
def blocks(farm):
    """Names of blocks by their id."""
    with open(farm / "blocks.csv", newline="") as file:
        return {row["id"]: row["name"] for row in csv.DictReader(file)}


def subject(event, blocks):
    """The kind of an entry, what it is about and its block, as its title says."""
    kind, about = event["SUMMARY"].split(": ", 1)
    (block,) = [name for name in blocks.values() if about.endswith(f", {name}")]
    return kind, about.removesuffix(f", {block}").removeprefix("mark passed, "), block


def in_words(first, last):
    """A stretch of days as mails print it."""

    def day(date):
        return f"{date:%b} {date.day}"

    if (last.month, last.day) == (12, 31):
        return f"{day(first)} or later"
    if first == last:
        return day(first)
    if (last - first).days > 40:
        return "after the "
    return f"{day(first)}–{last.day}" if first.month == last.month else f"{day(first)} – {day(last)}"


def days(event):
    """First and last day of an entry; the end is the day after."""
    return event["DTSTART"].dt, event["DTEND"].dt - datetime.timedelta(days=1)


def test_both_libraries_read_every_file_without_an_error(files):
    for file in files:
        calendar = file.calendar
        assert not any(part.errors for part in calendar.walk()), file.mail
        kinds = [part.name for part in calendar.walk()]
        assert kinds == ["VCALENDAR", *["VEVENT"] * len(calendar.events)], file.mail
        other = vobject.readOne(file.raw.decode(), validate=True)
        assert other.validate(raiseException=True)
        (event,) = [event for event in other.vevent_list if event.uid.value == file.event["UID"]]
        seen = file.event
        assert event.summary.value == seen["SUMMARY"] and event.description.value == seen["DESCRIPTION"], file.mail
        assert (event.dtstart.value, event.dtend.value) == (seen["DTSTART"].dt, seen["DTEND"].dt), file.mail
        assert (event.uid.value, int(event.sequence.value)) == (seen["UID"], seen["SEQUENCE"]), file.mail


def test_bytes_are_as_rfc_5545_asks(files):
    for file in files:
        assert b"\n" not in file.raw.replace(b"\r\n", b"") and b"\r" not in file.raw.replace(b"\r\n", b""), file.mail
        assert max(len(line) for line in file.raw.split(b"\r\n")) <= 75, file.mail
        assert file.raw.endswith(b"END:VCALENDAR\r\n"), file.mail


def test_an_entry_is_a_tentative_free_all_day_event_without_alarm(files):
    for file in files:
        calendar, event = file.calendar, file.event
        assert set(calendar) == {"VERSION", "PRODID", "METHOD"}, file.mail
        assert set(event) == PROPERTIES, file.mail
        assert calendar["VERSION"] == "2.0" and "Duskflight" in calendar["PRODID"], file.mail
        assert event["TRANSP"] == "TRANSPARENT" and event["CLASS"] == "PRIVATE", file.mail
        for of in ("DTSTART", "DTEND"):
            assert type(event[of].dt) is datetime.date and event[of].params["VALUE"] == "DATE", file.mail
        assert event["DTSTART"].dt < event["DTEND"].dt, file.mail
        assert event["ORGANIZER"] == f"mailto:{file.message['From'].addresses[0].addr_spec}", file.mail
        assert b"http" not in file.raw, file.mail


def test_the_method_is_the_same_in_both_places_and_fits_the_title(files):
    for file in files:
        assert file.part["Content-Type"].params["charset"] == "utf-8", file.mail
        assert file.part["Content-Type"].params["method"] == file.calendar["METHOD"] == "PUBLISH", file.mail
        assert file.event["STATUS"] == "TENTATIVE", file.mail
        assert re.match("(Projected|Computed): ", file.event["SUMMARY"]), file.mail


def test_the_file_has_one_plain_name(files):
    assert {file.part.get_filename() for file in files} == {"key-dates.ics"}


def test_the_description_has_block_adviser_and_the_whole_caution(files, people, blocks):
    advisers = {person["name"]: person["phone"] for person in people.values() if person["role"] == "adviser"}
    for file in files:
        text = file.event["DESCRIPTION"]
        *_, adviser, caution = text.split("\n")
        name, phone = re.fullmatch("Ask your adviser: (.+), telephone (.+)", adviser).groups()
        assert advisers[name] == phone, file.mail
        assert caution.startswith(CAUTION_ENDS[0]) and caution.endswith(CAUTION_ENDS[1]), file.mail
        assert caution in file.text, file.mail
        assert f"\n{subject(file.event, blocks)[2]}: " in text and "It rests on: " in text, file.mail


def test_the_dates_are_those_of_the_mails_text(files, blocks):
    for file in files:
        kind, what, block = subject(file.event, blocks)
        first, last = days(file.event)
        what, words = re.escape(what), in_words(first, last)
        said = {
            "Projected": rf"(mark not passed yet, )?projected {words}",
            "Computed": rf"degree-day mark passed (about )?{words} \([^)]*computed",
        }[kind]
        assert kind == "Projected" or first == last, file.mail
        assert re.search(rf"{re.escape(block)}(, [^:]+)?: (corrected: )?{said}", file.text), f"{file.mail}: {said}"
        assert re.search(rf"{what}: (corrected: )?{said}", file.event["DESCRIPTION"]), file.mail


def test_every_projected_date_that_a_mail_tells_has_its_file(mails):
    told = 0
    for name, message in mails:
        if "-alert-" not in name:
            continue
        text = " ".join(message.get_body(preferencelist=("plain",)).get_content().split())
        files = files_of(name, message)
        projected = [file for file in files if file.event["SUMMARY"].startswith("Projected")]
        assert len(projected) >= len(re.findall(r": projected \w{3} \d", text)), name
        assert ("attached calendar file" in text) == bool(files), name
        told += len(projected)
    assert told > 20


def by_key_date(files, blocks):
    """The files of each key date of each person, oldest first."""
    key_dates = defaultdict(list)
    for file in files:
        _, what, block = subject(file.event, blocks)
        key_dates[file.message["To"].addresses[0].addr_spec, what, block].append(file)
    return key_dates


def test_a_key_date_has_one_uid_all_season_and_another_one_for_each_person(files, blocks, people):
    key_dates = by_key_date(files, blocks)
    uids = {key: {file.event["UID"] for file in of} for key, of in key_dates.items()}
    assert all(len(of) == 1 for of in uids.values())
    assert len(set.union(*uids.values())) == len(uids)
    assert sum(len(of) > 1 for of in key_dates.values()) > 10, "some are updated"
    for uid in set.union(*uids.values()):
        assert re.fullmatch(r"key-date\.[0-9a-f]{16}@kestrel-flat\.example", uid)


def test_each_update_has_a_higher_sequence_and_the_instant_of_its_mail(files, blocks):
    for of in by_key_date(files, blocks).values():
        sequences = [file.event["SEQUENCE"] for file in of]
        assert sequences[0] == 0 and sequences == sorted(set(sequences))
        stamps = [file.event["DTSTAMP"].dt for file in of]
        assert stamps == [file.message["Date"].datetime for file in of] == sorted(stamps)
        assert all(re.search(rb"\r\nDTSTAMP:\d{8}T\d{6}Z\r\n", file.raw) for file in of)


def run(*arguments):
    return subprocess.run([os.environ["DUSKFLIGHT"], *map(str, arguments)], check=True, capture_output=True, text=True).stdout


def test_a_date_that_is_withdrawn_is_cancelled(farm, files, blocks, tmp_path):
    """In a copy of the farm, no trap of a block whose date was told caught an egg."""
    put_in = next(file for file in files if file.event["SUMMARY"].startswith("Projected"))
    _, what, name = subject(put_in.event, blocks)
    (block,) = [block for block, of in blocks.items() if of == name]
    copy = tmp_path / "farm"
    shutil.copytree(farm, copy)
    with open(copy / "traps.csv", newline="") as file:
        traps = {row["id"] for row in csv.DictReader(file) if row["block"] == block}
    rows = list(csv.DictReader(run("visits", "export", "--config", copy).splitlines()))
    changed = [{**row, "eggs": "0"} for row in rows if row["trap"] in traps and row["eggs"]]
    with open(tmp_path / "visits.csv", "w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(changed)
    run("visits", "import", "--config", copy, tmp_path / "visits.csv")

    next_day = datetime.date.fromisoformat(put_in.mail[:10]) + datetime.timedelta(days=1)
    run("preview", "alerts", "--config", copy, "--as-of", next_day, "--out", tmp_path / "mails")
    mails = [(file.name, parsed(file)) for file in (tmp_path / "mails").glob("*.eml")]
    found = [file for mail in mails for file in files_of(*mail) if file.event["UID"] == put_in.event["UID"]]
    (taken_out,) = found
    event = taken_out.event
    assert taken_out.part["Content-Type"].params["method"] == taken_out.calendar["METHOD"] == "CANCEL"
    assert event["STATUS"] == "CANCELLED" and event["SUMMARY"] == f"Withdrawn: {what}, {name}"
    assert event["SEQUENCE"] > put_in.event["SEQUENCE"] and event["DTSTAMP"].dt > put_in.event["DTSTAMP"].dt
    assert days(event) == days(put_in.event)
    assert set(event) == PROPERTIES and not any(part.errors for part in taken_out.calendar.walk())
    assert vobject.readOne(taken_out.raw.decode()).vevent.status.value == "CANCELLED"
    assert f"withdrawn; told on {in_words(*[put_in.event['DTSTAMP'].dt.date()] * 2)}" in taken_out.text
