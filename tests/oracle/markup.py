"""Faults of HTML, found by two programs that know nothing of each other and by a list of rules."""

import subprocess
from collections import Counter

import html5lib

# Attributes that the HTML standard calls obsolete, on the elements that mails use (section 16.2).
OBSOLETE = {"align", "bgcolor", "border", "cellpadding", "cellspacing", "nowrap", "valign", "color", "face"}
SIZED = {"img"}


def faults(markup):
    """What html5lib, which parses as the HTML standard says, HTML Tidy and the rules find wrong."""
    parser = html5lib.HTMLParser(namespaceHTMLElements=False)
    tree = parser.parse(markup)
    errors = [f"{place}: {code} {details}" for place, code, details in parser.errors]
    tidy = ["tidy", "-quiet", "-errors", "-utf8", "--drop-empty-elements", "no"]
    said = subprocess.run(tidy, input=markup, capture_output=True, text=True).stderr
    return errors + said.splitlines() + rules(tree)


def rules(tree):
    """What the standard and people who hear a page read out ask for beyond its grammar."""
    wrong = [] if tree.get("lang") else ["no language"]
    ids = Counter()
    for element in tree.iter():
        if not isinstance(element.tag, str):
            continue
        obsolete = OBSOLETE | (set() if element.tag in SIZED else {"width", "height"})
        wrong += [f"<{element.tag} {attribute}>" for attribute in element.attrib if attribute in obsolete]
        if element.tag == "th" and "scope" not in element.attrib:
            wrong.append("<th> without scope")
        if element.tag == "img" and not element.get("alt", "").strip():
            wrong.append("<img> without alt")
        ids[element.get("id")] += 1
    return wrong + [f"id {name} stands twice" for name, count in ids.items() if name and count > 1]
