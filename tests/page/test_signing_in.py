"""The way in: a password set with a code from the box, a wrong one, who has signed in, in a real browser."""

import os
import pathlib
import shutil
import subprocess

import pytest
from conftest import status, wait_until
from selenium.webdriver.common.by import By
from window import WIDTHS, barriers, keep, look, press

PORT = 8794
SITE = f"http://127.0.0.1:{PORT}/"
SAMPLE = pathlib.Path(__file__).parents[2] / "config"
PAGE = f"""[page]
listen = "127.0.0.1:{PORT}"

[mail]"""
# Instead of a service on the net.
STATION = """[station.table]
source = "days.csv"
date_column = "day"
min_column = "low"
max_column = "high"
unit = "f"
"""
PASSWORD = "pale moths at dusk"
SET = "Set it and sign in"


@pytest.fixture(scope="module")
def box(tmp_path_factory):
    """The configuration of a farm whose page is open on this machine, to who signs in."""
    folder = tmp_path_factory.mktemp("box")
    shutil.copytree(SAMPLE / "insects", folder / "insects")
    shutil.copytree(SAMPLE / "minimal", folder / "farm")
    file = folder / "farm" / "duskflight.toml"
    text = file.read_text().replace("[mail]", PAGE)
    file.write_text(text.replace('[station.ncei]\nstation = "USW00023257"\n', STATION))
    (folder / "farm" / "days.csv").write_text("day,low,high\n2022-01-01,40,60\n")
    duskflight, config = os.environ["DUSKFLIGHT"], folder / "farm"
    subprocess.run([duskflight, "init", "--records", config], check=True, stdout=subprocess.DEVNULL)
    with (folder / "said").open("w") as said:
        program = subprocess.Popen([duskflight, "run", "--config", config], stdout=said, stderr=said)
    wait_until(lambda: status(SITE + "sign-in") == 200, program, folder / "said")
    yield config
    program.terminate()
    program.wait(20)


def type_in(browser, button, **fields):
    """Types into the form, and sends it."""
    for field, value in fields.items():
        place = browser.find_element(By.NAME, field)
        place.clear()
        place.send_keys(value)
    return press(browser, button)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_the_way_in_is_within_reach_of_everybody(box, browsers, axe, width, scheme):
    browser = browsers[True]
    browser.delete_all_cookies()

    def at(name):
        keep(browser, f"door-{name}-{width}-{scheme}")
        assert browser.execute_script("return document.scrollingElement.scrollWidth") <= width, name
        assert not barriers(browser, axe), name

    look(browser, SITE, width, scheme)
    assert browser.current_url.startswith(SITE + "sign-in")
    at("sign-in")
    assert "do not go together" in type_in(browser, "Sign in", person="ada", password="no such password")
    at("sign-in-wrong")
    browser.find_element(By.LINK_TEXT, "Set a password with a code").click()
    at("first-password")
    made = [os.environ["DUSKFLIGHT"], "page", "code", "ada", "--config", box]
    said = subprocess.run(made, check=True, capture_output=True, text=True).stdout
    code = said.splitlines()[0]
    said = type_in(browser, SET, person="ada", code=code, password=PASSWORD, again="another long password")
    assert "The two passwords differ." in said
    at("first-password-wrong")
    type_in(browser, SET, code=code, password=PASSWORD, again=PASSWORD)
    assert browser.current_url == SITE
    browser.get(SITE + "account")
    assert "You are Ada Vance" in browser.find_element(By.TAG_NAME, "main").text
    at("account")
    press(browser, "Sign out here")
    type_in(browser, "Sign in", person="ada@orchards.example", password=PASSWORD)
    assert browser.current_url == SITE
