"""`mails.py` on eight mails of a season, with measures counted by hand."""

from email.message import EmailMessage
from email.policy import SMTP

import mails
import pytest

CAUTION = f"{mails.RULE}\nInformation and projection only. Second-generation egg laying projected Jan 1–2.\n"
REST = "  It rests on:\n  - heat: second-generation egg laying projected Dec 1–2\n"
FIRST = f"""Home farm: key dates

North
  second-generation egg laying projected Jun 28 –
  Jul 9 (middle Jul 3)

{REST}"""
AGAIN = """South
  third-generation egg laying projected Aug 1–9

North
  second-generation egg laying projected Jun 27 – Jul 8; told on Jun 14 as Jun 28 – Jul 9
"""
PASSED = """Second-generation egg laying: mark passed, computed;
egg laying not observed
"""
OF_TWO = f"""{PASSED}- North: Jul 1
- East 80: Jul 2

Third-generation egg laying
- North: projected Aug 3–10, may
  have begun

"""
CORRECTED = """North
  corrected: second-generation egg laying: mark not passed yet, projected Jul 8–12; instead of Jul 1

Third-generation egg laying
- South: mark passed Aug 11
"""
SEASON = {
    "2022-06-14-alert-gil-from-ada": ("short", FIRST),
    "2022-06-21-alert-gil-from-ada": ("s" * 61, AGAIN),
    "2022-07-03-alert-gil-from-ada": ("s" * 60, f"{OF_TWO}Rests on: heat."),
    "2022-07-04-alert-gil-from-ada": ("corrected", CORRECTED),
    "2022-07-05-alert-gil-from-ada": ("again", f"{PASSED}- North: Jul 10\n"),
    "2022-07-05-letter-gil-from-ada": ("week", "one two\n"),
    "2022-07-05-digest-ada": ("quiet", "one two three\n"),
    "2022-07-06-digest-ada": ("busy", "word " * 121),
}


@pytest.fixture
def season(tmp_path):
    for name, (subject, text) in SEASON.items():
        person = "Ada Vance" if name.endswith("ada") and "from" not in name else "Gil Marrow"
        message = EmailMessage(policy=SMTP)
        message["Subject"], message["To"] = subject, f"{person} <somebody@orchards.example>"
        message.set_content(f"{text}\n{CAUTION}", cte="quoted-printable")
        message.add_alternative("<p>" + "–" * 400 + "</p>", subtype="html")
        (tmp_path / f"{name}.eml").write_bytes(message.as_bytes())
    (tmp_path / "notes.txt").write_text("no mail")
    return mails.read(tmp_path)


def table(rows):
    heading, *others = rows
    return [dict(zip(heading, row)) for row in others]


def test_mails_words_and_subjects_are_counted_by_person(season):
    ada, gil, everyone = table(mails.people(season))
    assert (ada["digests"], ada["words"]) == (2, 3 + 121)
    assert (gil["alerts"], gil["letters"], gil["mails"], gil["subjects over 60"]) == (5, 1, 6, 1)
    assert everyone["mails"] == 8


def test_digests_have_their_words_and_size(season):
    (ada,) = table(mails.digests(season))
    assert ada == {"digests of": "Ada Vance", "number": 2, "words, median": "62", "90 in 100 at most": 121,
                   "with 120 at most": 1, "largest HTML, kB": "1.2"}


def test_alerts_have_corrections_repeats_and_length(season):
    gil, middle = table(mails.growers(season))
    # The second alert says of North what the first did a week before; the last comes after a correction.
    assert gil == {"alerts to": "Gil Marrow", "number": 5, "corrections": 1, "repeats": 1,
                   "most words before the evidence": 30, "most words": 33}
    assert middle["number"] == "5"


@pytest.mark.parametrize("days, count", [(7, 1), (8, 0)])
def test_what_is_said_again_repeats_within_a_week(season, days, count):
    first, second, *_ = season
    second.day = first.day.replace(day=first.day.day + days)
    assert mails.repeats([first, second]) == count


def test_a_range_is_told_first_once_and_holds_the_day_told_last(season):
    told = mails.first_told(mails.of_kind(season, "alert"))
    found = [(range_.generation, str(range_.first), str(range_.last), str(range_.passed)) for range_ in told]
    assert found == [
        ("second", "2022-06-28", "2022-07-09", "2022-07-10"),
        ("third", "2022-08-01", "2022-08-09", "2022-08-11"),
        ("third", "2022-08-03", "2022-08-10", "None"),
    ]
    second, third, both = table(mails.ranges(told))
    assert (second["held"], second["open"], second["days wide, median"]) == (0, 0, "12")
    assert (third["ranges"], third["open"], both["ranges"], both["%"]) == (2, 1, 3, "0")


def test_blocks_that_share_an_event_are_read_one_by_one(season):
    statements = season[2].statements()
    passed = "second-generation egg laying: mark passed, computed; egg laying not observed"
    assert statements == [("North", f"{passed} jul 1"), ("East 80", f"{passed} jul 2"),
                          ("North", "third-generation egg laying projected aug 3–10, may have begun")]


def test_blocks_that_share_a_line_are_read_one_by_one(season):
    season[2].text = "Second-generation egg laying\n- North, East 80: projected Jun\n  19–29 (middle Jun 25)\n"
    words = "second-generation egg laying projected jun 19–29 (middle jun 25)"
    assert season[2].statements() == [("North", words), ("East 80", words)]
