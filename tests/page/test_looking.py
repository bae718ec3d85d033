"""Every page that one looks at: on a phone and a wide screen, light and dark, with and without scripts."""

import re
import urllib.parse
import urllib.request

import pytest
from window import WIDTHS, asked_for, barriers, keep, look

PAGES = {
    "farm": "",
    "farm-sorted": "?saying=yes&sort=-next",
    "farm-none": "?find=nowhere",
    "block": "block/N1",
    "block-disrupted": "block/C1",
    "block-past": "block/N1?as-of=2022-05-10",
    "block-days": "block/N1/days",
    "stations": "stations",
    "station": "station/merced",
    "rounds": "round",
    "round": "round?route=slough",
    "mails": "mails",
    "tomorrow": "mails/tomorrow",
    "reports": "reports",
    "report": "report/delmar/2021",
    "health": "health",
    "nothing": "nowhere",
}
MOST_BYTES = 50_000


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_within_reach_of_everybody(site, browsers, axe, name, width, scheme):
    browser = browsers[True]
    look(browser, site + PAGES[name], width, scheme)
    severe = [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]
    # A page that is not there is an error to the browser.
    assert name == "nothing" or not severe
    strangers = [url for url in asked_for(browser) if re.match("(http|ws)s?:", url) and not url.startswith(site)]
    assert not strangers
    scrolled = browser.execute_script("return document.scrollingElement.scrollWidth")
    assert scrolled <= width, "the page is wider than the window"
    keep(browser, f"{name}-{width}-{scheme}")
    assert not barriers(browser, axe)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_whole_without_scripts(site, browsers, name):
    with_scripts, without = browsers[True], browsers[False]
    look(with_scripts, site + PAGES[name], 1400, "light")
    words = with_scripts.find_element("tag name", "main").text
    look(without, site + PAGES[name], 1400, "light")
    assert without.find_element("tag name", "main").text == words
    assert len(words) > 40


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_small_without_its_pictures(site, name):
    if name != "nothing":
        with urllib.request.urlopen(site + PAGES[name]) as answer:
            page = answer.read().decode()
        assert len(re.sub(r"<svg.*?</svg>", "", page, flags=re.DOTALL).encode()) < MOST_BYTES


def test_every_link_leads_somewhere(site):
    seen, to_see = set(), [site]
    while to_see:
        address = to_see.pop()
        if address in seen:
            continue
        seen.add(address)
        with urllib.request.urlopen(address) as answer:
            assert answer.status == 200
            page = answer.read().decode()
        links = re.findall(r'(?:href|src|action)="(?!data:|tel:)([^"]+)"', page)
        found = {urllib.parse.urljoin(address, link.replace("&amp;", "&")).split("#")[0] for link in links}
        assert all(link.startswith(site) for link in found), found
        # Sorting the rows again and again leads nowhere new.
        to_see += [link for link in found if "sort=" not in link and "as-of=" not in link]
    assert len(seen) > 20
