#!/usr/bin/env python3
"""Makes the guide's pictures of mails and pages anew, with Debian's chromium and its driver:

    duskflight demo --dir FOLDER --page & tests/pictures.py FOLDER
"""

import base64
import email
import email.policy
import html
import pathlib
import subprocess
import sys
import tempfile

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

PICTURES = pathlib.Path(__file__).parent.parent / "deploy/guide/pictures"
MAIL = "mail/2022-06-20-digest-orsa.eml"
# Name, the screen's width and height, how sharp.
SCREENS = [("phone", 390, 760, 2), ("desktop", 900, 820, 1)]
# A round as the demo's scout has it, their answer and its receipt, on a phone.
PHONE = (390, 700, 2)
ROUND_DAY = "2022-06-07"
# Pages of the demo's farm: address, name, the screen's width and height, how sharp.
SITE = "http://127.0.0.1:8790/"
PAGES = [("", "farm", 1100, 900, 1), ("round?route=canal", "entering", 390, 760, 2)]
# A window of chromium is not narrower than that, so that a phone's screen stands in a frame.
NARROWEST = 500
OPTIONS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
]


def shown(path):
    """The HTML of a mail with the pictures it carries."""
    message = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
    markup = message.get_body(("html",)).get_content()
    for part in message.walk():
        if cid := part["Content-ID"]:
            data = base64.b64encode(part.get_payload(decode=True)).decode()
            markup = markup.replace(f"cid:{cid.strip('<> ')}", f"data:{part.get_content_type()};base64,{data}")
    return markup


def picture(markup, name, width, height, scale):
    """Writes one picture of the top of a mail."""
    framed(f'srcdoc="{html.escape(markup)}"', name, width, height, scale)


def framed(what, name, width, height, scale):
    """Writes one picture of the top of what stands in a frame."""
    window = max(width, NARROWEST)
    frame = f"width:{width}px;height:{height}px;border:0"
    around = "margin:0;background:#d9d7e4;display:flex;justify-content:center"
    page = f'<!doctype html><body style="{around}"><iframe style="{frame}" {what}></iframe>'
    with tempfile.TemporaryDirectory() as folder:
        file = pathlib.Path(folder, "page.html")
        file.write_text(page)
        size = [f"--window-size={window},{height}", f"--force-device-scale-factor={scale}"]
        target = [f"--user-data-dir={folder}/profile", f"--screenshot={PICTURES / name}.png", file.as_uri()]
        subprocess.run(["chromium", *OPTIONS, *size, *target], check=True, stderr=subprocess.DEVNULL)


def page(address, name, width, height, scale):
    """Writes one picture of the top of a page of the farm, which lets no other page frame it."""
    with tempfile.TemporaryDirectory() as folder:
        # A window is not narrower than a page may be looked at by its own driver.
        options = webdriver.ChromeOptions()
        for option in [*OPTIONS, f"--user-data-dir={folder}"]:
            options.add_argument(option)
        browser = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
        try:
            metrics = {"width": width, "height": height, "deviceScaleFactor": scale, "mobile": width < NARROWEST}
            browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
            browser.get(address)
            (PICTURES / f"{name}.png").write_bytes(browser.get_screenshot_as_png())
        finally:
            browser.quit()


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    mail = shown(pathlib.Path(sys.argv[1], MAIL))
    for screen in SCREENS:
        picture(mail, *screen)
    round_mail, = pathlib.Path(sys.argv[1], "mail").glob(f"{ROUND_DAY}-round-*.eml")
    receipt, = pathlib.Path(sys.argv[1], "mail").glob(f"{ROUND_DAY}-receipt-*.eml")
    answer = pathlib.Path(sys.argv[1], "inbox/done", f"{ROUND_DAY}.eml").read_bytes()
    said = email.message_from_bytes(answer, policy=email.policy.default)
    style = "font:17px/1.5 system-ui,sans-serif;padding:12px 16px;white-space:pre-wrap"
    written = f'<body style="margin:0;background:#fff"><div style="{style}">{html.escape(said.get_content())}</div>'
    picture(shown(round_mail), "round", *PHONE)
    picture(written, "answer", *PHONE)
    picture(shown(receipt), "receipt", *PHONE)
    for address, *screen in PAGES:
        page(SITE + address, *screen)
