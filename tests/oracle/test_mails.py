"""Every mail of the demo's season, read by Python's own mail library and HTML parser."""

import datetime
import html.parser
import math
import re
import statistics
from collections import Counter

from markup import faults

VOID = {"meta", "br", "hr", "img", "link", "input"}


def parts(message):
    """The text and the HTML part of a message."""
    return (
        message.get_body(preferencelist=("plain",)).get_content(),
        message.get_body(preferencelist=("html",)).get_content(),
    )


def test_no_mail_has_a_defect(mails):
    for name, message in mails:
        for part in message.walk():
            assert part.defects == [], name
            for header, value in part.items():
                assert getattr(value, "defects", ()) == (), f"{name}: {header}"


def test_every_mail_has_text_first_and_then_html_and_then_its_files(mails):
    for name, message in mails:
        readable, *files = message.iter_parts() if message.get_content_type() == "multipart/mixed" else [message]
        assert all(part.is_attachment() for part in files), name
        assert bool(files) == (message is not readable), name
        assert readable.get_content_type() == "multipart/alternative", name
        plain, shown = readable.iter_parts()
        assert plain.get_content_type() == "text/plain", name
        if shown.get_content_type() == "multipart/related":
            shown, *pictures = shown.iter_parts()
            assert {picture.get_content_type() for picture in pictures} == {"image/png"}, name
        assert shown.get_content_type() == "text/html", name
        text, markup = parts(message)
        assert len(text) > 500 and len(markup) > 1000, name
        assert len(markup.encode()) < 80_000, name


def test_lines_are_as_short_as_rfc_5322_asks(farm):
    for file in (farm / "mail").iterdir():
        data = file.read_bytes()
        assert data.isascii(), file.name
        assert max(len(line) for line in data.split(b"\r\n")) <= 78, file.name
        assert b"\n" not in data.replace(b"\r\n", b""), file.name


def test_each_mail_goes_to_the_person_it_names(mails, people):
    for name, message in mails:
        kind, person = re.fullmatch(r"\d{4}-\d\d-\d\d-(digest|alert|letter|round|receipt)-(\w+?)(?:-from-\w+)?(?:-canal|-[0-9a-f]{16})?\.eml", name).groups()
        (recipient,) = message["To"].addresses
        assert recipient.addr_spec == people[person]["email"], name
        assert recipient.display_name == people[person]["name"], name
        assert people[person]["role"] == {"digest": "adviser", "alert": "grower", "letter": "grower", "round": "scout", "receipt": "scout"}[kind], name
        assert message["Cc"] is None and message["Bcc"] is None, name


def test_one_mail_a_day_and_person_of_each_kind(mails):
    sent = Counter((message["To"].addresses[0].addr_spec, message["Date"].datetime.date(), name[11:16]) for name, message in mails)
    assert set(sent.values()) == {1}


DAY = "(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) \\d\\d?"
STRETCH = f"{DAY}(?:–\\d\\d?| – {DAY})?"


def test_subjects_begin_with_their_day_and_are_read_whole_on_a_phone(mails):
    for name, message in mails:
        subject, day = message["Subject"], datetime.date.fromisoformat(name[:10])
        today = f"{day:%b} {day.day}"
        assert len(subject) <= 60, f"{name}: {subject}"
        if "-digest-" in name:
            assert subject.startswith(f"{today}: "), f"{name}: {subject}"
        elif "-round-" in name:
            assert re.fullmatch(rf"{day.day} [a-z]{{3}}: ronda canal, \d+ trampas?", subject), f"{name}: {subject}"
        elif "-receipt-" in name:
            assert re.fullmatch(rf"{day.day} [a-z]{{3}}: lo que trajo su respuesta(?: \(\d+ \?\))?", subject), f"{name}: {subject}"
        elif "-letter-" in name:
            assert subject.startswith(f"Week to {today}"), f"{name}: {subject}"
        elif re.search(DAY, subject):
            assert re.match(f"(Now )?{STRETCH}: ", subject), f"{name}: {subject}"
        else:
            assert re.match("Withdrawn|Egg-laying start not known", subject), f"{name}: {subject}"


def test_the_days_of_an_alerts_subject_stand_in_its_text(mails):
    for name, message in mails:
        if "-alert-" in name and (days := re.match(f"(?:Now )?({STRETCH}): ", message["Subject"])):
            flat = " ".join(parts(message)[0].split())
            assert re.search(rf"\b{days[1]}(?![–\d])", flat), f"{name}: {days[1]}"


def words(message, until=r"^-{17}$"):
    """How many words a mail's text has up to a line."""
    (text, _) = parts(message)
    return len(re.split(until, text.replace("\r\n", "\n"), maxsplit=1, flags=re.M)[0].split())


def test_alerts_are_few_and_say_what_matters_in_120_words(mails):
    alerts = [(name, message) for name, message in mails if "-alert-" in name]
    for name, message in alerts:
        assert words(message, "^(Rests on: .*|-{17})$") <= 120, name
    sent = Counter(message["To"].addresses[0].addr_spec for _, message in alerts)
    assert len(sent) == 4 and all(3 < count <= 10 for count in sent.values()), sent


def told_of_blocks(message):
    """What an alert says of each block, up to the first date: (title, block, words)."""
    text = parts(message)[0].replace("\r\n", "\n")
    for paragraph in text.split("\n\n"):
        head, *lines = paragraph.strip().split("\n- ")
        for line in lines:
            names, says = " ".join(line.split()).split(": ", 1)
            yield from ((head, name, re.split(DAY, says)[0]) for name in names.split(", "))


def test_no_grower_hears_the_same_again_within_a_week(mails):
    said, count = {}, 0
    for name, message in mails:
        if "-alert-" not in name:
            continue
        day = datetime.date.fromisoformat(name[:10])
        for what in told_of_blocks(message):
            before = said.get((message["To"], what))
            assert before is None or (day - before).days > 7, f"{name}: {what} was told on {before}"
            said[message["To"], what] = day
            count += 1
    assert count > 60


def test_a_growers_mails_share_what_their_blocks_reach_within_five_days(mails):
    """No alert of news comes within five days after another one that told the same news of other blocks. Starts are left
    out: nobody foresees them, so a mail has those known by then."""
    told = {}
    for name, message in mails:
        if "-alert-" not in name or message["Subject"].startswith(("Now ", "Withdrawn")):
            continue
        day = datetime.date.fromisoformat(name[:10])
        kinds = {(head, says) for head, _, says in told_of_blocks(message) if head != "Egg-laying start"}
        for kind in kinds:
            before = told.get((message["To"], kind))
            assert before is None or (day - before).days > 5, f"{name}: {kind} was told on {before}"
            told[message["To"], kind] = day


def test_digests_are_short_and_quiet_ones_have_no_table(mails):
    digests = [message for name, message in mails if "-digest-" in name]
    counts = sorted(words(message) for message in digests)
    assert statistics.median(counts) <= 300 and counts[math.ceil(0.9 * len(counts)) - 1] <= 700
    quiet = [message for message in digests if "Nothing new and nothing due in" in parts(message)[0]]
    assert len(quiet) > 40
    for message in quiet:
        text, markup = parts(message)
        assert "nothing due, nothing new" in message["Subject"]
        assert words(message, "^(THIS WEEK|TROUBLE|-{17})$") <= 120, message["Subject"]
        assert "WITH SOMETHING TO SAY" not in text and '<table class="rows">' not in markup, message["Subject"]
        assert '<img' not in markup, message["Subject"]


def test_ids_are_unique_and_ours(mails):
    ids = [message["Message-ID"] for _, message in mails]
    assert len(set(ids)) == len(ids)
    # What can be answered has an id that cannot be guessed.
    assert all(re.fullmatch(r"<((alert|letter)\.[\d-]{10}\.\w+|[rdq][a-z2-9]{28})@kestrel-flat\.example>", i) for i in ids)
    for name, message in mails:
        assert message["Auto-Submitted"] == "auto-generated", name


def test_a_mail_is_dated_at_the_digests_hour_of_its_day(mails):
    # Six in the morning of California is 14:00 UTC in winter and 13:00 in summer.
    for name, message in mails:
        # A receipt is dated when the answer was taken.
        if "-receipt-" in name:
            continue
        date = message["Date"].datetime
        assert date.date() == datetime.date.fromisoformat(name[:10]), name
        assert (date.hour, date.minute) in {(13, 0), (14, 0)}, name


class Nesting(html.parser.HTMLParser):
    """Notes elements that are not closed in order, and anything that would be loaded."""

    def __init__(self):
        super().__init__()
        self.open, self.faults, self.pictures = [], [], []

    def handle_starttag(self, tag, attrs):
        if tag not in VOID:
            self.open.append(tag)
        if tag in {"script", "iframe", "link", "object"}:
            self.faults.append(f"<{tag}>")
        for key, value in attrs:
            if key == "src" and value.startswith("cid:"):
                self.pictures.append(value.removeprefix("cid:"))
            elif key in {"src", "background"} or (key == "href" and not value.startswith(("mailto:", "tel:"))):
                self.faults.append(f"{key}={value}")

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}>")


def test_the_html_is_well_nested_and_loads_nothing(mails):
    for name, message in mails:
        _, markup = parts(message)
        nesting = Nesting()
        nesting.feed(markup)
        assert (nesting.open, nesting.faults) == ([], []), name
        assert "url(" not in markup and "@import" not in markup, name
        carried = [part["Content-ID"].strip("<> ") for part in message.walk() if part.get_content_maintype() == "image"]
        assert nesting.pictures == carried, name


def test_pictures_are_whole_small_and_say_in_words_what_they_show(mails):
    drawn = Counter()
    for name, message in mails:
        _, markup = parts(message)
        for part in message.walk():
            if part.get_content_maintype() != "image":
                continue
            picture = part.get_content()
            assert picture.startswith(b"\x89PNG") and picture.endswith(b"IEND\xaeB`\x82"), name
            width = 800 if part.get_filename() == "glance.png" else 960
            assert int.from_bytes(picture[16:20]) == width and len(picture) < 55_000, name
            drawn[name[11:17], part.get_filename()] += 1
        for alt in re.findall(r'<img [^>]*alt="([^"]*)"', markup):
            assert len(alt) > 60 and re.search(r"\d", alt), f"{name}: {alt}"
    assert drawn["digest", "glance.png"] > 100 and drawn["letter", "glance.png"] > 20
    assert drawn["digest", "heat.png"] > 30 and drawn["digest", "catches.png"] > 30 and drawn["alert-", "heat.png"] > 20


def test_the_html_has_no_fault(mails):
    # Each of them finds faults at all: the parser, Tidy, the rules.
    bad = "<!doctype html><html><title>x</title><body><table><p>x<tr><th>a</table><center>b</center>"
    for known in ("table-voodoo", "<center> element removed", "<th> without scope", "no language"):
        assert any(known in fault for fault in faults(bad)), faults(bad)
    for name, message in mails:
        _, markup = parts(message)
        assert faults(markup) == [], name


def test_no_mail_advises(mails):
    advice = re.compile(r"\b(you should|recommended?\b(?! (?:dose|rate)s? on)|spray|treat(?:ment)?s?|apply)\b", re.I)
    for name, message in mails:
        text, _ = parts(message)
        # The caution itself says what the mail is not.
        text = re.sub(r"not a\s+pesticide\s+recommendation", "", text)
        assert not advice.search(text), f"{name}: {advice.search(text)}"
