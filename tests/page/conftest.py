"""The page in a real browser: Debian's chromium with its driver, on a farm that the program under test plays and shows."""

import contextlib
import importlib.resources
import os
import re
import shutil
import subprocess
import time
import urllib.error
import urllib.request

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

# Without these chromium asks its makers' hosts for news at every start.
QUIET = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]


@contextlib.contextmanager
def shown(farm, port, said):
    """Shows a farm as it stands on 20 June, and gives the address."""
    command = [os.environ["DUSKFLIGHT"], "demo", "--dir", farm, "--page", "--port", str(port)]
    with said.open("w") as out:
        program = subprocess.Popen(command, stdout=out)
    try:
        yield wait_for(program, said)
    finally:
        program.terminate()
        program.wait(20)


@pytest.fixture(scope="session")
def site(farm, tmp_path_factory):
    """The address of the farm's page."""
    with shown(farm, 8791, tmp_path_factory.mktemp("page") / "said") as address:
        yield address


@pytest.fixture
def own_farm(farm, tmp_path):
    """A copy of the farm, to be written to."""
    shutil.copytree(farm, tmp_path / "farm")
    return tmp_path / "farm"


@pytest.fixture
def own_site(own_farm, tmp_path):
    """The address of its page."""
    with shown(own_farm, 8792, tmp_path / "said") as address:
        yield address


def wait_for(program, said):
    """The address, once pages are served there."""

    def address():
        found = re.search(r"http://\S+/", said.read_text())
        return found and status(found[0] + "health") == 200 and found[0]

    return wait_until(address, program, said)


def wait_until(is_so, program, said):
    """Waits for what comes true while the program runs, and gives it."""
    for _ in range(600):
        assert program.poll() is None, said.read_text()
        if found := is_so():
            return found
        time.sleep(0.1)
    raise AssertionError(said.read_text())


def status(address):
    """The status of an answer; 0 without one."""
    try:
        with urllib.request.urlopen(address, timeout=30) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        return error.code
    except OSError:
        return 0


@pytest.fixture(scope="session")
def axe():
    """The checker's script: axe-core, as a Python package carries it."""
    return importlib.resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def browsers(tmp_path_factory):
    """A browser with scripts and one without."""
    opened = {scripts: browser(tmp_path_factory.mktemp("profile"), scripts) for scripts in (True, False)}
    yield opened
    for one in opened.values():
        one.quit()


def browser(profile, scripts):
    """A browser that keeps what it logs and asks for."""
    options = webdriver.ChromeOptions()
    options.binary_location = "/usr/bin/chromium"
    for option in [*QUIET, f"--user-data-dir={profile}"]:
        options.add_argument(option)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    if not scripts:
        options.add_experimental_option("prefs", {"profile.managed_default_content_settings.javascript": 2})
    return webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
