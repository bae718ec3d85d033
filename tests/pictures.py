#!/usr/bin/env python3
"""Makes the guide's pictures of a digest anew, with Debian's chromium and Python alone:

    duskflight demo --dir FOLDER && tests/pictures.py FOLDER
"""

import base64
import email
import email.policy
import html
import pathlib
import subprocess
import sys
import tempfile

PICTURES = pathlib.Path(__file__).parent.parent / "deploy/guide/pictures"
MAIL = "mail/2022-06-20-digest-orsa.eml"
# Name, the screen's width and height, how sharp.
SCREENS = [("phone", 390, 760, 2), ("desktop", 900, 820, 1)]
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
    """Writes one picture of the top of a page."""
    window = max(width, NARROWEST)
    frame = f"width:{width}px;height:{height}px;border:0"
    around = "margin:0;background:#d9d7e4;display:flex;justify-content:center"
    page = f'<!doctype html><body style="{around}"><iframe style="{frame}" srcdoc="{html.escape(markup)}"></iframe>'
    with tempfile.TemporaryDirectory() as folder:
        file = pathlib.Path(folder, "page.html")
        file.write_text(page)
        size = [f"--window-size={window},{height}", f"--force-device-scale-factor={scale}"]
        target = [f"--user-data-dir={folder}/profile", f"--screenshot={PICTURES / name}.png", file.as_uri()]
        subprocess.run(["chromium", *OPTIONS, *size, *target], check=True, stderr=subprocess.DEVNULL)


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    mail = shown(pathlib.Path(sys.argv[1], MAIL))
    for screen in SCREENS:
        picture(mail, *screen)
