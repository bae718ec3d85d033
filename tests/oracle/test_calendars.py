"""Every calendar file of the demo's season, read by two independent calendar libraries."""

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
    """A calendar file and the mail it came with."""

    mail: str
    message: EmailMessage
    part: EmailMessage
    raw: bytes

    @property
    def calendar(self):
        return icalendar.Calendar.from_ical(self.raw)

    @property
    def text(self):
        """The mail's text on one line."""
        return on_one_line(self.message)


@dataclass
class Entry:
    """An entry of a calendar file."""

    file: File
    event: icalendar.Event

    @property
    def mail(self):
        return self.file.mail


def on_one_line(message):
    """A mail's text on one line."""
    return " ".join(message.get_body(preferencelist=("plain",)).get_content().split())


def files_of(name, message):
    """The calendar files of a mail."""
    parts = [part for part in message.walk() if part.get_content_type() == "text/calendar"]
    return [File(name, message, part, part.get_payload(decode=True)) for part in parts]


def entries_of(files):
    """The entries of files in their order."""
    return [Entry(file, event) for file in files for event in file.calendar.events]


@pytest.fixture(scope="module")
def files(mails):
    """All calendar files of the season, oldest first."""
    files = [file for name, message in mails for file in files_of(name, message)]
    assert len(files) > 15
    return files


@pytest.fixture(scope="module")
def entries(files):
    """All entries of the season, oldest first."""
    entries = entries_of(files)
    assert len(entries) > 40
    return entries


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
    return f"{day(first)}–{last.day}" if first.month == last.month else f"{day(first)} – {day(last)}"


def days(event):
    """First and last day of an entry; the end is the day after."""
    return event["DTSTART"].dt, event["DTEND"].dt - datetime.timedelta(days=1)


def said(kind, first, last):
    """How a mail puts the dates of an entry, as a pattern."""
    words = in_words(first, last)
    return {
        "Projected": rf"(mark not passed yet, )?projected {words}(?! ?[–\d])",
        "Computed": rf"degree-day mark passed (about )?{words} \(([^)]*; )?computed",
    }[kind]


def told(message):
    """What an alert says, by its title, in lower case, and the name of the block: a line may be of several blocks."""
    found = defaultdict(list)
    text = message.get_body(preferencelist=("plain",)).get_content().replace("\r\n", "\n")
    for paragraph in text.split("\n\n"):
        title, *lines = paragraph.strip().split("\n- ")
        for line in lines:
            names, says = " ".join(line.split()).split(": ", 1)
            for name in names.split(", "):
                found[title.lower(), name].append(says)
    return found


def read_by_both(raw):
    """A calendar and its events as two libraries read them: neither finds a fault, and they read the same."""
    calendar, other = icalendar.Calendar.from_ical(raw), vobject.readOne(raw.decode(), validate=True)
    assert all(part.errors == [] for part in calendar.walk())
    assert {part.name for part in calendar.subcomponents} <= {"VEVENT"}
    assert other.validate(raiseException=True)
    others = other.contents.get("vevent", [])
    for seen, event in zip(calendar.events, others, strict=True):
        assert event.summary.value == seen["SUMMARY"] and event.description.value == seen["DESCRIPTION"]
        assert (event.dtstart.value, event.dtend.value) == (seen["DTSTART"].dt, seen["DTEND"].dt)
        assert (event.uid.value, int(event.sequence.value)) == (seen["UID"], seen["SEQUENCE"])
    return calendar, others


def test_both_libraries_read_every_file_without_an_error(files):
    for file in files:
        calendar, _ = read_by_both(file.raw)
        assert calendar.events, file.mail


def is_well_folded(raw):
    """Lines end in CRLF and have at most 75 octets."""
    bare = raw.replace(b"\r\n", b"")
    lines = raw.split(b"\r\n")
    return not set(b"\r\n") & set(bare) and max(map(len, lines)) <= 75 and raw.endswith(b"END:VCALENDAR\r\n")


def test_bytes_are_as_rfc_5545_asks(files):
    for file in files:
        assert is_well_folded(file.raw), file.mail


def test_entries_are_tentative_free_and_all_day_without_alarm(files):
    for file in files:
        calendar = file.calendar
        assert set(calendar) == {"VERSION", "PRODID", "METHOD"}, file.mail
        assert calendar["VERSION"] == "2.0" and "Duskflight" in calendar["PRODID"], file.mail
        assert b"http" not in file.raw, file.mail
        for event in calendar.events:
            assert set(event) == PROPERTIES and event.subcomponents == [], file.mail
            assert event["TRANSP"] == "TRANSPARENT" and event["CLASS"] == "PRIVATE", file.mail
            for of in ("DTSTART", "DTEND"):
                assert type(event[of].dt) is datetime.date and event[of].params["VALUE"] == "DATE", file.mail
            assert event["DTSTART"].dt < event["DTEND"].dt, file.mail
            assert event["ORGANIZER"] == f"mailto:{file.message['From'].addresses[0].addr_spec}", file.mail


def test_the_method_is_the_same_in_both_places_and_fits_the_titles(files):
    for file in files:
        assert file.part["Content-Type"].params["charset"] == "utf-8", file.mail
        assert file.part["Content-Type"].params["method"] == file.calendar["METHOD"] == "PUBLISH", file.mail
        for event in file.calendar.events:
            assert event["STATUS"] == "TENTATIVE", file.mail
            assert re.match("(Projected|Computed): ", event["SUMMARY"]), file.mail


def test_a_mail_has_one_file_of_one_name(mails):
    for name, message in mails:
        names = [file.part.get_filename() for file in files_of(name, message)]
        assert names in ([], ["key-dates.ics"]), name


def test_the_description_has_block_adviser_and_the_whole_caution(entries, people, blocks):
    advisers = {person["name"]: person["phone"] for person in people.values() if person["role"] == "adviser"}
    for entry in entries:
        text = entry.event["DESCRIPTION"]
        *_, adviser, caution = text.split("\n")
        name, phone = re.fullmatch("Ask your adviser: (.+), telephone (.+)", adviser).groups()
        assert advisers[name] == phone, entry.mail
        assert caution.startswith(CAUTION_ENDS[0]) and caution.endswith(CAUTION_ENDS[1]), entry.mail
        assert caution in entry.file.text, entry.mail
        assert f"\n{subject(entry.event, blocks)[2]}: " in text and "It rests on: " in text, entry.mail


def test_the_dates_are_those_of_the_mails_text(entries, blocks):
    for entry in entries:
        kind, what, block = subject(entry.event, blocks)
        first, last = days(entry.event)
        assert kind == "Projected" or first == last, entry.mail
        (line,) = told(entry.file.message)[what, block]
        assert re.match(f"(corrected: )?{said(kind, first, last)}", line), f"{entry.mail}: {line}"
        described = rf"\n{re.escape(block)}: {what}: (corrected: )?{said(kind, first, last)}"
        assert re.search(described, entry.event["DESCRIPTION"]), f"{entry.mail}: {described}"


def test_every_generation_that_a_mail_tells_of_a_block_has_its_entry(mails, blocks):
    """A mail that tells a start says in the same line what is projected from it: that is told by itself when it is
    near, and has its entry then."""
    count = 0
    for name, message in mails:
        if "-alert-" not in name:
            continue
        generations = sorted(key for key in told(message) if "generation" in key[0])
        of_files = entries_of(files_of(name, message))
        assert sorted(subject(entry.event, blocks)[1:] for entry in of_files) == generations, name
        assert ("attached calendar file" in on_one_line(message)) == bool(of_files), name
        count += len(generations)
    assert count > 40


def by_key_date(entries, blocks):
    """The entries of each key date of each person, oldest first."""
    key_dates = defaultdict(list)
    for entry in entries:
        _, what, block = subject(entry.event, blocks)
        key_dates[entry.file.message["To"].addresses[0].addr_spec, what, block].append(entry)
    return key_dates


def test_a_key_date_has_one_uid_all_season_and_another_one_for_each_person(entries, blocks):
    key_dates = by_key_date(entries, blocks)
    uids = {key: {entry.event["UID"] for entry in of} for key, of in key_dates.items()}
    assert all(len(of) == 1 for of in uids.values())
    assert len(set.union(*uids.values())) == len(uids)
    assert sum(len(of) > 1 for of in key_dates.values()) > 15, "some are updated"
    for uid in set.union(*uids.values()):
        assert re.fullmatch(r"key-date\.[0-9a-f]{16}@kestrel-flat\.example", uid)


def test_each_update_has_a_higher_sequence_and_the_instant_of_its_mail(entries, blocks):
    for of in by_key_date(entries, blocks).values():
        sequences = [entry.event["SEQUENCE"] for entry in of]
        assert sequences[0] == 0 and sequences == sorted(set(sequences))
        stamps = [entry.event["DTSTAMP"].dt for entry in of]
        assert stamps == [entry.file.message["Date"].datetime for entry in of] == sorted(stamps)
        for entry in of:
            stamped = re.findall(rb"\r\nDTSTAMP:\d{8}T\d{6}Z\r\n", entry.file.raw)
            assert len(stamped) == len(entry.file.calendar.events), entry.mail


@pytest.fixture(scope="module")
def calendars(farm, people):
    """Each person's whole calendar, bytes by their id."""
    calendars = {file.stem: file.read_bytes() for file in (farm / "calendars").iterdir()}
    assert calendars.keys() == people.keys()
    return calendars


def test_a_whole_calendar_is_read_by_both_libraries(calendars, people):
    for person, raw in calendars.items():
        calendar, others = read_by_both(raw)
        # A scout is told nothing of key dates.
        assert others or people[person]["role"] == "scout", person
        assert is_well_folded(raw) and b"http" not in raw, person
        assert set(calendar) == {"VERSION", "PRODID", "METHOD", "NAME"}, person
        assert calendar["METHOD"] == "PUBLISH" and "key dates" in calendar["NAME"], person
        assert all(set(event) == PROPERTIES and event["STATUS"] == "TENTATIVE" for event in calendar.events), person


def test_a_growers_whole_calendar_has_what_their_mails_say_last_and_nothing_else(calendars, entries, people):
    def put(event):
        return [event[of].to_ical() for of in ("SUMMARY", "DTSTART", "DTEND", "SEQUENCE", "DTSTAMP", "STATUS")]

    growers = {of: person["email"] for of, person in people.items() if person["role"] == "grower"}
    for grower, address in growers.items():
        theirs = [entry for entry in entries if entry.file.message["To"].addresses[0].addr_spec == address]
        newest = {entry.event["UID"]: put(entry.event) for entry in theirs}
        whole = icalendar.Calendar.from_ical(calendars[grower]).events
        assert {event["UID"]: put(event) for event in whole} == newest, grower
        assert len(whole) == len(newest) > 3, grower


def test_an_advisers_whole_calendar_has_what_their_digests_say(calendars, mails, people, blocks):
    digests = {(name[18:-4], message["Date"].datetime): on_one_line(message) for name, message in mails if name[11:18] == "digest-"}
    (adviser,) = [of for of, person in people.items() if person["role"] == "adviser"]
    whole = icalendar.Calendar.from_ical(calendars[adviser]).events
    for event in whole:
        kind, what, block = subject(event, blocks)
        digest = digests[adviser, event["DTSTAMP"].dt]
        pattern = rf"- [^:]*{re.escape(block)}[^:]*: {what}: (corrected: )?{said(kind, *days(event))}"
        assert re.search(pattern, digest), f"{event['DTSTAMP'].dt}: {pattern}"
    assert {subject(event, blocks)[2] for event in whole} == set(blocks.values()) - {"Gravel Pit"}


def run(*arguments):
    return subprocess.run([os.environ["DUSKFLIGHT"], *map(str, arguments)], check=True, capture_output=True, text=True).stdout


def without_eggs(farm, block, folder):
    """A copy of a farm in which no trap of a block caught an egg."""
    copy = folder / "farm"
    shutil.copytree(farm, copy)
    with open(copy / "traps.csv", newline="") as file:
        traps = {row["id"] for row in csv.DictReader(file) if row["block"] == block}
    rows = list(csv.DictReader(run("visits", "export", "--config", copy).splitlines()))
    changed = [{**row, "eggs": "0"} for row in rows if row["trap"] in traps and row["eggs"]]
    with open(folder / "visits.csv", "w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(changed)
    run("visits", "import", "--config", copy, folder / "visits.csv")
    return copy


def previewed(farm, day, folder):
    """The calendar files of the alerts of a day."""
    run("preview", "alerts", "--config", farm, "--as-of", day, "--out", folder / "mails")
    mails = [(file.name, parsed(file)) for file in sorted((folder / "mails").glob("*.eml"))]
    return [file for mail in mails for file in files_of(*mail)]


def is_taken_out(entry, put_in, blocks):
    """Asserts that an entry takes out what another one put in."""
    event, (_, what, name) = entry.event, subject(put_in.event, blocks)
    assert event["STATUS"] == "CANCELLED" and event["SUMMARY"] == f"Withdrawn: {what}, {name}"
    assert event["SEQUENCE"] > put_in.event["SEQUENCE"] and event["DTSTAMP"].dt > put_in.event["DTSTAMP"].dt
    assert days(event) == days(put_in.event) and set(event) == PROPERTIES
    _, others = read_by_both(entry.file.raw)
    (other,) = [of for of in others if of.uid.value == event["UID"]]
    assert other.status.value == "CANCELLED"
    on = in_words(*[put_in.event["DTSTAMP"].dt.date()] * 2)
    lines = told(entry.file.message)[what, name]
    assert any(line.startswith(f"withdrawn; told on {on} as {in_words(*days(put_in.event))}") for line in lines)


def test_a_date_that_is_withdrawn_is_cancelled(farm, entries, blocks, tmp_path):
    put_in = next(entry for entry in entries if entry.event["SUMMARY"].startswith("Projected"))
    _, what, name = subject(put_in.event, blocks)
    (block,) = [block for block, of in blocks.items() if of == name]
    copy = without_eggs(farm, block, tmp_path)
    next_day = datetime.date.fromisoformat(put_in.mail[:10]) + datetime.timedelta(days=1)
    found = entries_of(previewed(copy, next_day, tmp_path))
    (taken_out,) = [entry for entry in found if entry.event["UID"] == put_in.event["UID"]]
    is_taken_out(taken_out, put_in, blocks)
    file = taken_out.file
    assert file.part["Content-Type"].params["method"] == file.calendar["METHOD"] == "CANCEL"


def test_a_withdrawn_date_beside_others_is_cancelled_in_a_file_that_publishes(farm, entries, blocks, tmp_path):
    put_in, day = beside_a_later_entry(entries, blocks)
    (block,) = [block for block, of in blocks.items() if of == subject(put_in.event, blocks)[2]]
    copy = without_eggs(farm, block, tmp_path)
    found = entries_of(previewed(copy, day, tmp_path))
    (taken_out,) = [entry for entry in found if entry.event["UID"] == put_in.event["UID"]]
    is_taken_out(taken_out, put_in, blocks)
    file = taken_out.file
    assert file.part["Content-Type"].params["method"] == file.calendar["METHOD"] == "PUBLISH"
    assert {event["STATUS"] for event in file.calendar.events} == {"TENTATIVE", "CANCELLED"}
    assert len(told(file.message)[subject(put_in.event, blocks)[1:]]) == 1


def beside_a_later_entry(entries, blocks):
    """The newest entry of a date, and the day of a later mail to the same person that tells of other blocks only."""
    for later in entries:
        of_mail = {subject(entry.event, blocks)[2] for entry in entries if entry.mail == later.mail}
        for entry in reversed(entries):
            same = entry.file.message["To"] == later.file.message["To"] and entry.mail < later.mail
            if same and subject(entry.event, blocks)[2] not in of_mail:
                return entry, later.mail[:10]
    raise AssertionError("no mail tells of some of a person's blocks after others")
