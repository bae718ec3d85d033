"""What people get, measured on folders of mails: `mails.py FOLDER...`, each with the `.eml` files of a season as
`duskflight demo` writes them into its folder `mail`. Needs nothing but Python.

- Words are those of the plain text above the rule line that begins the caution, between white space, numbers and
  bullets and all. In alerts, words before the evidence are those above the first line that begins with a marker.
- A correction is an alert that corrects or withdraws something.
- An alert repeats if something in it has the block and the words, up to the first date, of something that an alert to
  the same grower said at most seven days before, and nothing between, nor itself, corrects that block.
- A range is told first where an alert to a grower first projects a block's second or third generation. It held if the
  day that was later told as passed, by the last alert that says one, lies inside; it is open where none does. That day
  is computed from heat: eggs scatter more, as `test_ranges.py` shows.

Summaries, which stand for several alerts on a crowded day, count as mails; what they say is not read."""

import email
import email.policy
import re
import sys
from dataclasses import dataclass
from datetime import date
from itertools import takewhile
from math import ceil
from pathlib import Path
from statistics import median

RULE = "-" * 17
KINDS = ("digest", "alert", "letter", "summary")
SUBJECT, QUIET, WEEK = 60, 120, 7  # characters of a subject; words of a quiet digest; days

# How mails put things. Each pattern is read in the lower-cased words of what is told of one block.
EVIDENCE = ("It rests on", "Rests on", "How this is known")
CORRECTS = re.compile(r"\b(corrected|withdrawn|after all|instead of|not passed yet)\b")
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
DAY = rf"({'|'.join(MONTHS)}) (\d\d?)\b"
RANGE = rf"{DAY}(?:\s?–\s?(?:({'|'.join(MONTHS)}) )?(\d\d?)\b)?"
GENERATION = r"\b(second|third|fourth)[ -]generation\b(?:(?![ -]generation\b).)*?"
PROJECTED = re.compile(rf"{GENERATION}\bprojected {RANGE}")
PASSED = re.compile(rf"{GENERATION}(?<!not )\bpassed\b.*?{DAY}")
GENERATIONS = ("second", "third")


@dataclass
class Mail:
    day: date
    kind: str
    person: str
    subject: str
    text: str  # above the caution
    html_bytes: int

    def words(self):
        return len(self.text.split())

    def before_evidence(self):
        above = takewhile(lambda line: not is_evidence(line), self.text.splitlines())
        return len(" ".join(above).split())

    def statements(self):
        """What is told: (block, its words in lower case, all on one line). Blocks that share a line have it each."""
        told = []
        for title, item in items(self.text):
            listed = re.fullmatch(r"- (.+?): (.+)", item)
            blocks, words = (listed[1].split(", "), f"{title} {listed[2]}") if listed else ([title], item)
            told += [(block, words.lower()) for block in blocks]
        return told


def items(text):
    """What stands under each title, outside the evidence, as [title, item]. A title stands at the margin; an item is
    indented or begins with a dash, and its lines end at the next dash or empty line."""
    found, title = [], ""
    for paragraph in re.split(r"\n\s*\n", text):
        lines = paragraph.splitlines()
        told = list(takewhile(lambda line: not is_evidence(line), lines))
        heading = list(takewhile(lambda line: not line.startswith((" ", "-")), told))
        title = " ".join(heading) or title
        for at, line in enumerate(told[len(heading):]):
            if at == 0 or line.lstrip().startswith("- "):
                found.append([title, line.strip()])
            else:
                found[-1][1] += f" {line.strip()}"
        if told != lines:
            title = ""
    return [item for item in found if item[0]]


def is_evidence(line):
    return line.strip().startswith(EVIDENCE)


def read(folder):
    """The mails of a folder in the order of their days."""
    name = re.compile(rf"(\d{{4}}-\d\d-\d\d)-({'|'.join(KINDS)})-.+\.eml")
    found = [(path, name.fullmatch(path.name)) for path in sorted(Path(folder).glob("*.eml"))]
    return [mail(path, *named.groups()) for path, named in found if named]


def mail(path, day, kind):
    message = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
    text, html = (message.get_body(preferencelist=(part,)).get_content() for part in ("plain", "html"))
    to = message["To"].addresses[0]
    return Mail(date.fromisoformat(day), kind, to.display_name or to.addr_spec, message["Subject"],
                "\n".join(takewhile(lambda line: line != RULE, text.splitlines())), len(html.encode()))


def corrects(words):
    return bool(CORRECTS.search(words))


def until_a_date(words):
    return re.split(DAY, words)[0]


def repeats(alerts):
    """How many of a grower's alerts say again what was said within a week before."""
    said, count = {}, 0  # the day and mail, by block and words; a correction of a block wipes what was said of it
    for alert in alerts:
        told = alert.statements()
        corrected = {block for block, words in told if corrects(words)}
        said = {what: day for what, day in said.items() if what[0] not in corrected}
        now = {(block, until_a_date(words)) for block, words in told if block not in corrected}
        count += any(what in said and (alert.day - said[what]).days <= WEEK for what in now)
        said |= dict.fromkeys(now, alert.day)
    return count


@dataclass
class Told:
    """A generation's range as it was first told, and the day told as passed, if any was."""

    generation: str
    first: date
    last: date
    passed: date | None = None

    def held(self):
        return self.first <= self.passed <= self.last

    def width(self):
        return (self.last - self.first).days + 1


def civil(year, month, day):
    return date(year, MONTHS.index(month) + 1, int(day))


def first_told(alerts):
    """Of each grower, block and generation."""
    found = {}
    for alert in alerts:
        for block, words in alert.statements():
            for generation, month, day, to_month, to_day in PROJECTED.findall(words):
                first = civil(alert.day.year, month, day)
                last = civil(alert.day.year, to_month or month, to_day or day)
                found.setdefault((alert.person, block, generation), Told(generation, first, last))
            for generation, month, day in PASSED.findall(words):
                if told := found.get((alert.person, block, generation)):
                    told.passed = civil(alert.day.year, month, day)
    return list(found.values())


def by_person(mails):
    people = {mail.person: [] for mail in sorted(mails, key=lambda mail: mail.person)}
    for mail in mails:
        people[mail.person].append(mail)
    return people


def of_kind(mails, kind):
    return [mail for mail in mails if mail.kind == kind]


def people(mails):
    yield ["person", "digests", "alerts", "letters", "summaries", "mails", "words", f"subjects over {SUBJECT}"]
    for person, of in [*by_person(mails).items(), ("all", mails)]:
        kinds = [len(of_kind(of, kind)) for kind in KINDS]
        long = sum(len(mail.subject) > SUBJECT for mail in of)
        yield [person, *kinds, len(of), sum(mail.words() for mail in of), long]


def digests(mails):
    yield ["digests of", "number", "words, median", "90 in 100 at most", f"with {QUIET} at most", "largest HTML, kB"]
    for person, of in by_person(of_kind(mails, "digest")).items():
        words = sorted(mail.words() for mail in of)
        yield [person, len(of), f"{median(words):.0f}", words[ceil(0.9 * len(words)) - 1],
               sum(count <= QUIET for count in words), f"{max(mail.html_bytes for mail in of) / 1000:.1f}"]


def growers(mails):
    yield ["alerts to", "number", "corrections", "repeats", "most words before the evidence", "most words"]
    rows = []
    for person, of in by_person(of_kind(mails, "alert")).items():
        corrections = sum(any(corrects(words) for _, words in alert.statements()) for alert in of)
        longest = [max(words(mail) for mail in of) for words in (Mail.before_evidence, Mail.words)]
        rows.append([len(of), corrections, repeats(of), *longest])
        yield [person, *rows[-1]]
    if rows:
        yield ["median", *(f"{median(column):g}" for column in zip(*rows))]


def ranges(told):
    yield ["told first", "ranges", "open", "held", "%", "days wide, median"]
    for name in (*GENERATIONS, "both"):
        of = [range_ for range_ in told if range_.generation in (GENERATIONS if name == "both" else (name,))]
        closed = [range_ for range_ in of if range_.passed]
        held = sum(range_.held() for range_ in closed)
        share = f"{100 * held / len(closed):.0f}" if closed else "–"
        width = f"{median(range_.width() for range_ in of):g}" if of else "–"
        yield [name, len(of), len(of) - len(closed), held, share, width]


def show(rows):
    """A table, its first column to the left."""
    rows = [[str(cell) for cell in row] for row in rows]
    widths = [max(map(len, column)) for column in zip(*rows)]
    for first, *others in rows:
        cells = [cell.rjust(width) for cell, width in zip(others, widths[1:])]
        print("  ".join([first.ljust(widths[0]), *cells]))
    print()


def main(folders):
    told = []
    for folder in folders:
        mails = read(folder)
        alerts = of_kind(mails, "alert")
        print(f"{folder}: {len(mails)} mails\n")
        told.append(first_told(alerts))
        for rows in (people(mails), digests(mails), growers(mails), ranges(told[-1])):
            show(rows)
        if unread := [f"{alert.day} {alert.person}" for alert in alerts if not alert.statements()]:
            print(f"Alerts in which nothing was found: {', '.join(unread)}\n")
    if len(folders) > 1:
        print("all folders\n")
        show(ranges(sum(told, [])))


if __name__ == "__main__":
    main(sys.argv[1:] or sys.exit("usage: mails.py FOLDER..."))
