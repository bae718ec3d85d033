"""Readings typed into a round's form: what stands in the records then, in a real browser."""

import csv
import io
import os
import sqlite3
import subprocess
import time
import urllib.request

import pytest
from conftest import shown
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select, WebDriverWait
from window import is_gone, press

ROUND = "round?route=slough"
TRAP = "N1-E5"
# Sends the form so many times at once, and gives the statuses of the answers.
SEND = """
  const [times, done] = [arguments[0], arguments[arguments.length - 1]];
  const form = document.querySelector("form[data-keep]");
  const body = new URLSearchParams(new FormData(form)).toString();
  const headers = {"Content-Type": "application/x-www-form-urlencoded"};
  const once = () => fetch(form.action, {method: "POST", headers, body}).then((answer) => answer.status);
  Promise.all(Array.from({length: times}, once)).then(done);
"""


def visits(farm):
    """What stands in the records of 20 June: each trap with its row, as a sheet brings it out."""
    command = [os.environ["DUSKFLIGHT"], "visits", "export", "--config", farm, "--from", "2022-06-20", "--to", "2022-06-20"]
    sheet = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return {row["trap"]: row for row in csv.DictReader(io.StringIO(sheet))}


def history(farm):
    """How many old rows the records keep."""
    with sqlite3.connect(farm / "duskflight.sqlite") as records:
        return records.execute("SELECT count(*) FROM visit_history").fetchone()[0]


def open_round(browser, site):
    """The form, with who read chosen; nothing is kept from another time."""
    browser.get(site + ROUND)
    browser.execute_script("localStorage.clear()")
    browser.get(site + ROUND)
    choose_reader(browser)


def choose_reader(browser):
    """Chooses who read."""
    Select(browser.find_element(By.NAME, "by")).select_by_visible_text("Orsa Quillan")


def type_in(browser, **fields):
    """Types into fields of the trap."""
    for field, value in fields.items():
        place = browser.find_element(By.NAME, f"count:{TRAP}:{field}")
        place.clear()
        place.send_keys(value)


def store(browser):
    """Sends the form, and waits for the page that answers it."""
    return press(browser, "Store what is typed")


@pytest.mark.parametrize("scripts", [True, False])
def test_readings_are_stored_corrected_and_taken_back(own_farm, own_site, browsers, scripts):
    browser = browsers[scripts]
    before = visits(own_farm)
    assert TRAP not in before
    if scripts:
        open_round(browser, own_site)
    else:
        browser.get(own_site + ROUND)
        choose_reader(browser)
    type_in(browser, eggs="4")
    browser.find_element(By.NAME, f"part:{TRAP}:bait").click()
    assert "1 reading stored." in store(browser)
    stored = visits(own_farm)
    assert (stored[TRAP]["eggs"], stored[TRAP]["serviced"]) == ("4", "bait")
    assert {trap: row for trap, row in stored.items() if trap != TRAP} == before
    # A later count of the same day corrects it; the old one is kept.
    old = history(own_farm)
    choose_reader(browser)
    type_in(browser, eggs="5")
    assert "1 reading stored." in store(browser)
    assert visits(own_farm)[TRAP]["eggs"] == "5"
    assert history(own_farm) == old + 1
    # Taken back, what it had replaced stands again.
    assert "1 reading taken back." in press(browser, "Take them back")
    assert visits(own_farm)[TRAP]["eggs"] == "4"


def test_what_is_odd_is_asked_about_and_stored_once_it_is_right(own_farm, own_site, browsers):
    browser = browsers[True]
    open_round(browser, own_site)
    type_in(browser, eggs="30000")
    said = store(browser)
    assert "0 readings stored. 1 not stored" in said
    assert TRAP not in visits(own_farm)
    browser.find_element(By.NAME, f"sure:{TRAP}").click()
    assert "1 reading stored." in store(browser)
    assert visits(own_farm)[TRAP]["eggs"] == "30000"


def test_what_is_no_count_is_said_at_its_trap_and_the_rest_is_stored(own_farm, own_site, browsers):
    browser = browsers[True]
    open_round(browser, own_site)
    type_in(browser, eggs="1o")
    browser.find_element(By.NAME, "count:N1-E4:eggs").send_keys("2")
    assert "1 reading stored. 1 not stored" in store(browser)
    assert "type a whole number" in browser.find_element(By.ID, f"why-{TRAP}").text
    assert visits(own_farm)["N1-E4"]["eggs"] == "2"
    assert browser.find_element(By.NAME, "count:N1-E4:eggs").get_attribute("value") == ""


def test_a_form_that_arrives_twice_is_stored_once(own_farm, own_site, browsers):
    browser = browsers[True]
    open_round(browser, own_site)
    type_in(browser, eggs="7")
    assert browser.execute_async_script(SEND, 5) == [200] * 5
    assert visits(own_farm)[TRAP]["eggs"] == "7"
    # Another count since is not undone by a copy that was late.
    old = history(own_farm)
    with sqlite3.connect(own_farm / "duskflight.sqlite") as records:
        records.execute("UPDATE visit SET eggs = 9 WHERE trap = ? AND day = '2022-06-20'", [TRAP])
    assert browser.execute_async_script(SEND, 1) == [200]
    assert (visits(own_farm)[TRAP]["eggs"], history(own_farm)) == ("9", old)


def test_what_a_form_could_not_store_is_said_each_time_it_arrives(own_farm, own_site, browsers):
    browser = browsers[True]
    open_round(browser, own_site)
    type_in(browser, eggs="7")
    browser.find_element(By.NAME, "count:N1-E4:eggs").send_keys("1o")
    for _ in range(2):
        assert browser.execute_async_script(SEND, 1) == [422]
    stored = visits(own_farm)
    assert (stored[TRAP]["eggs"], "N1-E4" in stored) == ("7", False)


def offline(browser, is_off):
    """Takes the browser's connection away, or gives it back."""
    browser.execute_cdp_cmd("Network.enable", {})
    conditions = {"offline": is_off, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
    browser.execute_cdp_cmd("Network.emulateNetworkConditions", conditions)


def test_two_phones_on_one_round_one_of_them_without_signal(own_farm, own_site, browsers):
    phone = browsers[True]
    open_round(phone, own_site)
    type_in(phone, eggs="3")
    offline(phone, True)
    try:
        phone.find_element(By.XPATH, "//button[text()='Store what is typed']").click()
        kept = WebDriverWait(phone, 20).until(lambda _: phone.find_element(By.CSS_SELECTOR, ".kept:not([hidden])"))
        assert "kept on this phone" in kept.text
        assert TRAP not in visits(own_farm)
        # Meanwhile the other phone enters another trap.
        other = browsers[False]
        other.get(own_site + ROUND)
        choose_reader(other)
        other.find_element(By.NAME, "count:N1-E4:eggs").send_keys("6")
        store(other)
        main = phone.find_element(By.TAG_NAME, "main")
    finally:
        offline(phone, False)
    WebDriverWait(phone, 40).until(lambda _: is_gone(main))
    stored = visits(own_farm)
    assert (stored[TRAP]["eggs"], stored["N1-E4"]["eggs"]) == ("3", "6")
    assert phone.execute_script("return localStorage.length") == 0


def gone_from_the_round(site):
    """Waits until the trap is not due any more."""
    for _ in range(300):
        with urllib.request.urlopen(site + ROUND) as answer:
            if f'id="trap-{TRAP}"' not in answer.read().decode():
                return
        time.sleep(0.1)
    raise AssertionError("the trap is still on the round")


def test_what_was_typed_of_a_trap_that_was_read_meanwhile_is_asked_about(own_farm, own_site, browsers):
    phone, other = browsers[True], browsers[False]
    open_round(phone, own_site)
    type_in(phone, eggs="3")
    other.get(own_site + ROUND)
    Select(other.find_element(By.NAME, "by")).select_by_visible_text("Lucio Amarante")
    type_in(other, eggs="6")
    assert "1 reading stored." in store(other)
    gone_from_the_round(own_site)
    # The page was open all the time.
    assert "Lucio Amarante has entered" in store(phone)
    field = phone.find_element(By.NAME, f"count:{TRAP}:eggs")
    assert (field.get_attribute("value"), visits(own_farm)[TRAP]["eggs"]) == ("3", "6")
    # It was closed, and is opened anew.
    phone.get(own_site + ROUND)
    field = phone.find_element(By.NAME, f"count:{TRAP}:eggs")
    assert field.is_displayed() and field.get_attribute("value") == "3"
    assert "Lucio Amarante has entered" in store(phone)
    phone.find_element(By.NAME, f"sure:{TRAP}").click()
    assert "1 reading stored." in store(phone)
    assert visits(own_farm)[TRAP]["eggs"] == "3"
    assert phone.execute_script("return localStorage.length") == 0


def test_a_count_is_put_right_in_a_page_that_was_opened_before_it_was_stored(own_farm, own_site, browsers):
    browser = browsers[True]
    open_round(browser, own_site)
    type_in(browser, eggs="3")
    store(browser)
    gone_from_the_round(own_site)
    choose_reader(browser)
    type_in(browser, eggs="4")
    assert "1 reading stored." in store(browser)
    assert visits(own_farm)[TRAP]["eggs"] == "4"


def test_what_was_typed_on_another_day_says_so_and_can_be_discarded(own_site, browsers):
    phone = browsers[True]
    open_round(phone, own_site)
    type_in(phone, eggs="8")
    phone.execute_script(
        "const day = document.querySelector('[name=day]'); day.value = '2022-06-19';"
        "day.dispatchEvent(new Event('input', {bubbles: true}))"
    )
    phone.get(own_site + ROUND)
    assert "What was typed for 2022-06-19" in phone.find_element(By.CSS_SELECTOR, ".again").text
    press(phone, "Discard it")
    assert phone.find_element(By.NAME, "day").get_attribute("value") == "2022-06-20"
    assert phone.find_element(By.NAME, f"count:{TRAP}:eggs").get_attribute("value") == ""
    assert not phone.find_element(By.CSS_SELECTOR, ".again").is_displayed()


def test_what_waited_is_sent_with_the_proof_of_the_page_that_sends_it(own_farm, own_site, browsers):
    phone = browsers[True]
    open_round(phone, own_site)
    type_in(phone, eggs="3")
    offline(phone, True)
    phone.find_element(By.XPATH, "//button[text()='Store what is typed']").click()
    WebDriverWait(phone, 20).until(lambda _: phone.find_element(By.CSS_SELECTOR, ".kept:not([hidden])"))
    # As after another sign-in.
    phone.execute_script(
        "const key = Object.keys(localStorage).find((key) => key.startsWith('waiting'));"
        "localStorage.setItem(key, localStorage.getItem(key).replace(/proof=[^&]*/, 'proof=AAAA'))"
    )
    offline(phone, False)
    phone.get(own_site + ROUND)
    WebDriverWait(phone, 40).until(lambda _: TRAP in visits(own_farm))
    assert visits(own_farm)[TRAP]["eggs"] == "3"


def test_what_was_typed_survives_that_the_page_is_closed(own_site, browsers):
    phone = browsers[True]
    open_round(phone, own_site)
    type_in(phone, eggs="8")
    phone.get("about:blank")
    phone.get(own_site + ROUND)
    assert phone.find_element(By.NAME, f"count:{TRAP}:eggs").get_attribute("value") == "8"
    phone.execute_script("localStorage.clear()")


def test_a_count_by_somebody_else_is_asked_about(own_farm, own_site, browsers):
    browser = browsers[True]
    open_round(browser, own_site)
    type_in(browser, eggs="3")
    store(browser)
    Select(browser.find_element(By.NAME, "by")).select_by_visible_text("Lucio Amarante")
    type_in(browser, eggs="4")
    assert "Orsa Quillan has entered" in store(browser)
    assert visits(own_farm)[TRAP]["eggs"] == "3"


def test_an_alert_is_held_and_let_go(own_farm, own_site, browsers):
    # As it stands before the hold time is over.
    with sqlite3.connect(own_farm / "duskflight.sqlite") as records:
        records.execute(
            "UPDATE outbox SET state = 'queued', sent_at = NULL, answer = NULL, attempts = 0, first_try_at = NULL,"
            " hold_s = 86400 WHERE kind = 'alert' AND day = '2022-06-20'"
        )

    def standing():
        with sqlite3.connect(own_farm / "duskflight.sqlite") as records:
            row = "SELECT held_by, released_by FROM outbox WHERE kind = 'alert' AND day = '2022-06-20'"
            return records.execute(row).fetchone()

    browser = browsers[True]
    browser.get(own_site + "mails")
    press(browser, "Hold it")
    assert standing() == ("Orsa Quillan", None)
    assert "held since" in browser.find_element(By.TAG_NAME, "main").text
    browser.find_element(By.NAME, "line").send_keys("Look at <b>row</b> 12 first.")
    press(browser, "Add it")
    assert "Orsa Quillan: Look at <b>row</b> 12 first." in browser.find_element(By.TAG_NAME, "main").text
    press(browser, "Let it go")
    assert standing() == (None, "Orsa Quillan")


def test_a_temperature_is_put_right_and_that_is_taken_back(own_farm, browsers, tmp_path):
    with sqlite3.connect(own_farm / "duskflight.sqlite") as records:
        records.execute("UPDATE station_day SET tmax = 70, unit = 'c', tmin = 15 WHERE day = '2022-06-10'")

    def decisions():
        with sqlite3.connect(own_farm / "duskflight.sqlite") as records:
            rows = "SELECT day, element, decision, value, unit, entered_by, via FROM temperature_decision"
            return records.execute(rows).fetchall()

    browser = browsers[False]

    def press(act, **fields):
        form = browser.find_element(By.CSS_SELECTOR, f"form:has(button[value={act}])")
        for field, value in fields.items():
            form.find_element(By.NAME, field).send_keys(value)
        form.find_element(By.CSS_SELECTOR, f"button[value={act}]").click()
        WebDriverWait(browser, 20).until(lambda _: is_gone(form))
        return browser.find_element(By.TAG_NAME, "main").text

    with shown(own_farm, 8793, tmp_path / "said") as site:
        browser.get(site + "station/merced")
        assert "158.0 °F" in browser.find_element(By.TAG_NAME, "main").text
        assert "no thermometer in the region" in press("confirm", by="Orsa", why="seen")
        browser.get(site + "station/merced")
        press("correct", by="Orsa", why="the logger beside it", value="103,5")
        assert decisions() == [("2022-06-10", "tmax", "corrected", 103.5, "f", "Orsa", "page")]
        browser.get(site + "station/merced")
        assert "corrected by Orsa: the logger beside it" in browser.find_element(By.TAG_NAME, "main").text
        press("take-back", by="Orsa")
        assert decisions() == []
