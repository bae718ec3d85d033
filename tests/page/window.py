"""A page in a window of some width: what was asked for, how it looks, and what keeps whom from reading it."""

import base64
import json
import os
import pathlib

from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

WIDTHS = {390: 844, 1400: 1000}
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


def barriers(browser, axe):
    """What keeps somebody from reading or using the page.

    By the Web Content Accessibility Guidelines 2.2, levels A and AA (W3C Recommendation, 2023), as axe-core checks them."""
    browser.execute_script(axe)
    found = browser.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}).then(done)"
    )
    return [(one["id"], one["impact"], [node["html"][:200] for node in one["nodes"][:3]]) for one in found["violations"]]


def press(browser, words):
    """Presses a button, waits for the page that answers it, and gives what that says."""
    old = browser.find_element(By.TAG_NAME, "main")
    browser.find_element(By.XPATH, f"//button[text()='{words}']").click()
    WebDriverWait(browser, 20).until(lambda _: is_gone(old))
    return browser.find_element(By.TAG_NAME, "main").text


def is_gone(element):
    """Whether another page stands there by now."""
    try:
        element.is_enabled()
        return False
    except Exception:  # noqa: BLE001 - each driver says it in its own way
        return True
