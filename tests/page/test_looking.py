"""Every page that one looks at: on a phone and a wide screen, light and dark, with and without scripts.

Checked against the Web Content Accessibility Guidelines 2.2, levels A and AA (W3C Recommendation, 2023), by axe-core."""

import base64
import json
import os
import pathlib
import re
import urllib.parse
import urllib.request

import pytest

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
WIDTHS = {390: 844, 1400: 1000}
MOST_BYTES = 50_000
# Where pictures of the pages are kept, if anywhere.
SHOTS = os.environ.get("DUSKFLIGHT_SHOTS")


def look(browser, address, width, scheme):
    """Opens a page in a window of a width and a colour scheme."""
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": WIDTHS[width], "deviceScaleFactor": 1, "mobile": width < 600},
    )
    browser.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    )
    browser.get_log("browser")
    browser.get_log("performance")
    browser.get(address)


def asked_for(browser):
    """The addresses that the browser asked for."""
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    sent = [message for message in messages if message["method"] == "Network.requestWillBeSent"]
    return [message["params"]["request"]["url"] for message in sent]


def keep(browser, name):
    """Keeps a picture of the whole page."""
    if SHOTS:
        shot = browser.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True})
        folder = pathlib.Path(SHOTS)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{name}.png").write_bytes(base64.b64decode(shot["data"]))


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
    browser.execute_script(axe)
    found = browser.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}).then(done)"
    )
    told = [(one["id"], one["impact"], [node["html"][:200] for node in one["nodes"][:3]]) for one in found["violations"]]
    assert not told


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
