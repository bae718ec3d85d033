"""What the command does with what it cannot compute: say so, and leave with the right code."""

import json

import pytest

from command import consecutive, heat, run

GOOD = "date,tmin,tmax\n2022-06-01,50,80\n2022-06-02,52,84\n2022-06-05,55,88\n"


@pytest.mark.parametrize("method", ("average", "clipped-average"))
@pytest.mark.parametrize("cutoff", ("horizontal", "intermediate", "vertical"))
def test_an_average_with_a_cutoff_is_refused(method, cutoff):
    done = run(["heat", "-", "--method", method, "--cutoff", cutoff], GOOD)
    assert (done.returncode, done.stdout) == (2, "")
    assert f"the method {method} has no cutoff" in done.stderr


@pytest.mark.parametrize(
    "row, told",
    [
        ("2022-06-06,,80", "row 5, column tmin: the value is missing"),
        ("2022-06-06,50,8o", 'row 5, column tmax: "8o" is not a temperature'),
        ("2022-06-06,50,inf", 'row 5, column tmax: "inf" is not a temperature'),
        ("2022-06-06,-999,80", 'row 5, column tmin: "-999" stands for a value that is missing'),
        ("2022-06-06,50,1e308", "row 5, column tmax: no thermometer in the region has shown 1e308 °F"),
        ("2022-06-06,81,80", "row 5, column tmin: the minimum 81 is above the maximum 80"),
        ("2022-06-05,50,80", "row 5, column date: 2022-06-05 does not come after 2022-06-05"),
        ("2022-02-29,50,80", 'row 5, column date: "2022-02-29" is not a date'),
    ],
)
def test_a_bad_row_is_named_and_nothing_is_written(row, told):
    done = run(["heat", "-", "--format", "csv"], GOOD + row + "\n")
    assert (done.returncode, done.stdout) == (2, "")
    assert f"error: standard input, {told}" in done.stderr


def test_a_file_that_is_not_there_is_a_wrong_argument(tmp_path):
    done = run(["heat", str(tmp_path / "none.csv")])
    assert done.returncode == 2
    assert "none.csv" in done.stderr


def test_thresholds_out_of_order_are_refused_in_the_unit_given():
    done = run(["heat", "-", "--unit", "c", "--lower", "34", "--upper", "12"], GOOD)
    assert done.returncode == 2
    assert "the lower threshold (34 °C) must be below the upper one (12 °C)" in done.stderr


def test_a_threshold_that_is_no_temperature_is_refused():
    done = run(["heat", "-", "--upper", "9999"], GOOD)
    assert (done.returncode, done.stdout) == (2, "")
    assert "--upper 9999 °F is no temperature" in done.stderr


def test_days_left_out_are_noted():
    done = run(["heat", "-", "--method", "double-sine", "--format", "csv"], GOOD)
    assert done.returncode == 0
    assert len(done.stdout.splitlines()) == 2
    assert "no rows for 2022-06-03 to 2022-06-04; the total leaves these 2 days out" in done.stderr
    for day in ("2022-06-02", "2022-06-05"):
        assert f"{day} is left out: double-sine needs the minimum of the day after" in done.stderr


def test_json_has_the_same_numbers_as_csv():
    done = run(["heat", "-", "--format", "json"], GOOD)
    listed = [tuple(row.values()) for row in json.loads(done.stdout)]
    as_csv = heat(consecutive([(50, 80), (52, 84), (55, 88)]), "single-sine")
    assert [row[1:] for row in listed] == [tuple(row)[1:] for row in as_csv]
    assert [row[0] for row in listed] == ["2022-06-01", "2022-06-02", "2022-06-05"]


def test_the_table_closes_with_how_the_numbers_came_about():
    done = run(["heat", "-"], GOOD)
    closing = done.stdout.splitlines()[-1]
    assert closing.startswith(
        "method single-sine, cutoff horizontal, thresholds 55 and 94 °F, 3 days, "
    )
