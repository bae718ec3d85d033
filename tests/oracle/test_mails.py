"""Every mail of the demo's season, read by Python's own mail library and HTML parser."""

import datetime
import html.parser
import re
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
        kind, person = re.fullmatch(r"\d{4}-\d\d-\d\d-(digest|alert|letter)-(\w+?)(?:-from-\w+)?\.eml", name).groups()
        (recipient,) = message["To"].addresses
        assert recipient.addr_spec == people[person]["email"], name
        assert recipient.display_name == people[person]["name"], name
        assert people[person]["role"] == {"digest": "adviser", "alert": "grower", "letter": "grower"}[kind], name
        assert message["Cc"] is None and message["Bcc"] is None, name


def test_one_mail_a_day_and_person_of_each_kind(mails):
    sent = Counter((message["To"].addresses[0].addr_spec, message["Date"].datetime.date(), name[11:16]) for name, message in mails)
    assert set(sent.values()) == {1}


def test_ids_are_unique_and_ours(mails):
    ids = [message["Message-ID"] for _, message in mails]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"<(digest|alert|letter)\.[\d-]{10}\.\w+@kestrel-flat\.example>", i) for i in ids)
    for name, message in mails:
        assert message["Auto-Submitted"] == "auto-generated", name


def test_a_mail_is_dated_at_the_digests_hour_of_its_day(mails):
    # Six in the morning of California is 14:00 UTC in winter and 13:00 in summer.
    for name, message in mails:
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
            wide = 800 if part.get_filename() == "glance.png" else 960
            assert int.from_bytes(picture[16:20]) == wide and len(picture) < 55_000, name
            drawn[part.get_filename()] += 1
        for alt in re.findall(r'<img [^>]*alt="([^"]*)"', markup):
            assert len(alt) > 60 and re.search(r"\d", alt), f"{name}: {alt}"
    assert drawn["heat.png"] > 50 and drawn["catches.png"] > 10 and drawn["glance.png"] > 100


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
