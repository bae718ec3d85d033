"""What stands in for missing temperatures: days are hidden from real records and estimated again.

Single days and gaps of 3, 7 and 14 days, at random, in the hottest summer weeks and over the sharpest
falls of spring; all fall-backs are out in one gap of four. The estimates are set beside the plain
straight line between the days around and beside the station's climate (the mean of the same days of all
other years), in temperature and in the degree-days of the gap. Constants were chosen on years up to
2004; the gaps are all later."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from hindcast_table import single_sine
from program import rows

FALL_BACKS = {
    "CIMIS-2": ["CIMIS-15", "CIMIS-7", "COOP-HANFORD"],
    "CIMIS-7": ["CIMIS-2", "COOP-MADERA", "CIMIS-80"],
    "CIMIS-15": ["COOP-HANFORD", "CIMIS-2", "CIMIS-39"],
    "CIMIS-39": ["CIMIS-80", "COOP-FRESNO-AP", "COOP-HANFORD"],
    "CIMIS-80": ["COOP-FRESNO-AP", "CIMIS-39", "COOP-MADERA"],
    "COOP-FRESNO-AP": ["CIMIS-80", "CIMIS-39", "COOP-MADERA"],
    "COOP-HANFORD": ["CIMIS-15", "CIMIS-39", "COOP-FRESNO-AP"],
    "GHCN-MERCED": ["COOP-MADERA", "CIMIS-7", "CIMIS-39"],
}
LENGTHS = (1, 3, 7, 14)
KINDS = ("at random", "summer heat", "spring storms")
ELEMENTS = ("tmin", "tmax")
FIRST_YEAR = 2005
APART_DAYS = 25  # between two gaps of one run
OUT_OF_FOUR = 4  # in every fourth gap all fall-backs are out
RESAMPLES = 1000


@dataclass
class Gap:
    """One hidden gap: what each way of filling gets wrong, °F and °F-days."""

    year: int
    kind: str
    days: int
    alone: bool
    error: dict
    degree_days: dict
    expected: dict


def record(path):
    days = pd.read_csv(path, index_col="date", parse_dates=True)[["tmin_c", "tmax_c"]]
    days = days.reindex(pd.date_range(days.index[0], days.index[-1])) * 1.8 + 32
    return days.set_axis(ELEMENTS, axis=1)


def climate(days):
    """For each day the mean within 15 days of it in all other years."""
    place = days.index.strftime("%m-%d")
    normal = days.groupby(place).mean()
    around = pd.concat([normal] * 3).rolling(31, min_periods=20, center=True).mean()
    return around.iloc[len(normal):2 * len(normal)].reindex(place).set_axis(days.index)


def starts(days, kind, length, chance):
    """Positions at which gaps begin, in the order of preference."""
    month, height = days.index.month, days["tmax"]
    order = pd.Series(chance.random(len(days)), days.index)
    if kind == "summer heat":
        week = height.rolling(7).mean().shift(-6)
        order = -week.where((month >= 6) & (month <= 8))
    elif kind == "spring storms":
        fall = height.diff(2).shift(-1)
        order = fall.where((month >= 3) & (month <= 5))
    order = order.where(days.index.year >= FIRST_YEAR).dropna().sort_values()
    first = days.index.get_indexer(order.index)
    return first - (length // 2 if kind == "spring storms" else 0)


def chosen(days, kind, length, chance, most):
    known = days.notna().all(axis=1).to_numpy()
    taken, gaps = np.zeros(len(days), bool), []
    for start in starts(days, kind, length, chance):
        whole = slice(start - 2, start + length + 2)
        near = slice(max(start - APART_DAYS, 0), start + length + APART_DAYS)
        if start < 2 or start + length + 2 > len(days) or not known[whole].all() or taken[near].any():
            continue
        taken[start:start + length] = True
        gaps.append(start)
        if len(gaps) == most:
            break
    return gaps


def written(days, path, hidden):
    """The record without some days, as a station file."""
    kept = days.loc[~days.index.isin(hidden)].dropna(how="all")
    celsius = ((kept - 32) / 1.8).round(6).set_axis(["tmin_c", "tmax_c"], axis=1)
    celsius.rename_axis("date").to_csv(path)
    return path


def estimates(folder, stations, name, gaps, length):
    """What the command says of the hidden days: value and expected error by day and element, °F."""
    own = stations[name]
    spans = [own.index[gap:gap + length] for gap in gaps]
    hidden = pd.DatetimeIndex(np.concatenate(spans))
    out = pd.DatetimeIndex(np.concatenate(spans[::OUT_OF_FOUR]))
    others = [written(stations[other], folder / f"{other}.csv", out) for other in FALL_BACKS[name]]
    said = rows("fill", written(own, folder / f"{name}.csv", hidden), "--others", *others)
    table = pd.DataFrame(said).set_index(["date", "element"])
    value = table["value"].astype(float).unstack() * 1.8 + 32
    error = table["expected_error"].astype(float).unstack() * 1.8
    return tuple(part.set_axis(pd.DatetimeIndex(part.index)) for part in (value, error))


def straight(own, gap, length):
    ends = own.iloc[[gap - 1, gap + length]]
    share = np.arange(1, length + 1)[:, None] / (length + 1)
    return ends.iloc[0].to_numpy() * (1 - share) + ends.iloc[1].to_numpy() * share


def heat(pairs):
    return single_sine(*np.sort(np.asarray(pairs, float)).T)


def expected_of_sum(errors):
    """Squared error expected of a gap's degree-days: each temperature counts by half, and errors of days
    running have half in common from one day to the next."""
    day = np.hypot(*(errors / 2).T)
    apart = np.abs(np.subtract.outer(np.arange(len(day)), np.arange(len(day))))
    return day @ (0.5 ** apart) @ day


def examined(folder, stations, name, kind, length, most):
    own, usual = stations[name], climate(stations[name])
    chance = np.random.default_rng([length, *map(ord, name)])
    gaps = chosen(own, kind, length, chance, most)
    if not gaps:
        return []
    value, error = estimates(folder, stations, name, gaps, length)
    found = []
    for count, gap in enumerate(gaps):
        span = own.index[gap:gap + length]
        truth = own.loc[span].to_numpy()
        ways = {
            "fill": value.loc[span, list(ELEMENTS)].to_numpy(),
            "straight": straight(own, gap, length),
            "climate": usual.loc[span].to_numpy(),
        }
        found.append(Gap(
            int(span[0].year), kind, length, count % OUT_OF_FOUR == 0,
            {way: said - truth for way, said in ways.items()},
            {way: heat(said).sum() - heat(truth).sum() for way, said in ways.items()},
            {
                "squared": (error.loc[span, list(ELEMENTS)].to_numpy() ** 2).mean(axis=0),
                "heat": expected_of_sum(error.loc[span, list(ELEMENTS)].to_numpy()),
            },
        ))
    return found


@pytest.fixture(scope="module")
def gaps(records, tmp_path_factory):
    folder = tmp_path_factory.mktemp("hidden")
    names = {*FALL_BACKS, *(other for others in FALL_BACKS.values() for other in others)}
    stations = {name: record(records / f"{name}.csv") for name in names}
    most = {"at random": 100, "summer heat": 30, "spring storms": 30}
    return [gap for name in FALL_BACKS for kind in KINDS for length in LENGTHS
            for gap in examined(folder, stations, name, kind, length, most[kind])]


def interval(values, years):
    """A 90 % interval of a mean, from resampling whole years."""
    by_year = pd.DataFrame({"value": values, "n": 1.0}).groupby(np.asarray(years)).sum().to_numpy()
    chance = np.random.default_rng(1)
    draws = chance.multinomial(len(by_year), np.full(len(by_year), 1 / len(by_year)), RESAMPLES)
    sums = draws @ by_year
    return np.quantile(sums[:, 0] / sums[:, 1], [0.05, 0.95])


def measured(gaps):
    """Mean absolute error and bias of each way, of temperatures and of the gap's degree-days."""
    years = [gap.year for gap in gaps]
    result = {}
    for way in ("fill", "straight", "climate"):
        error = np.array([np.abs(gap.error[way]).mean() for gap in gaps])
        signed = np.array([gap.degree_days[way] for gap in gaps])
        result[way] = {
            "tmin": np.mean([np.abs(gap.error[way][:, 0]).mean() for gap in gaps]),
            "tmax": np.mean([np.abs(gap.error[way][:, 1]).mean() for gap in gaps]),
            "bias": np.mean([gap.error[way].mean() for gap in gaps]),
            "heat": np.abs(signed).mean(),
            "heat bias": signed.mean(),
            "heat bias interval": interval(signed, years),
            "error": error,
        }
    return result, years


def shown(title, result, years):
    for way, found in result.items():
        low, high = found["heat bias interval"]
        print(f"{title:38} {way:9} {len(years):5} {found['tmin']:6.2f} {found['tmax']:6.2f} "
              f"{found['bias']:+6.2f} {found['heat']:8.2f} {found['heat bias']:+7.2f} "
              f"[{low:+.2f}, {high:+.2f}]")


@pytest.mark.parametrize("length", LENGTHS)
def test_filling_beats_the_straight_line_and_the_climate(gaps, length, capsys):
    of_length = [gap for gap in gaps if gap.days == length]
    with capsys.disabled():
        print("\ngaps                                   way           n   tmin   tmax   bias  "
              "degree-days  bias [90 %], °F")
        for kind in KINDS:
            shown(f"{length} days, {kind}", *measured([g for g in of_length if g.kind == kind]))
        alone = [gap for gap in of_length if gap.alone]
        shown(f"{length} days, all fall-backs out", *measured(alone))
    for kind in (*KINDS, "all"):
        result, years = measured([g for g in of_length if kind in ("all", g.kind)])
        fill = result["fill"]
        for other in ("straight", "climate"):
            better = interval(fill["error"] - result[other]["error"], years)
            assert better[1] < 0, (kind, other, better)
            assert fill["heat"] < result[other]["heat"], (kind, other)
    # Without any fall-back it is hardly worse than the better of both, whichever that is.
    result, _ = measured(alone)
    best = min(result[way]["error"].mean() for way in ("straight", "climate"))
    assert result["fill"]["error"].mean() < best * 1.02


@pytest.mark.parametrize("length", LENGTHS)
def test_the_expected_error_is_honest(gaps, length):
    """The root mean square of what was wrong is near the one expected, for both elements."""
    for alone in (False, True):
        of_kind = [g for g in gaps if g.days == length and g.kind == "at random" and g.alone == alone]
        found = np.mean([(gap.error["fill"] ** 2).mean(axis=0) for gap in of_kind], axis=0)
        expected = np.mean([gap.expected["squared"] for gap in of_kind], axis=0)
        assert (0.75 < np.sqrt(found / expected)).all() and (np.sqrt(found / expected) < 1.3).all(), (
            alone, np.sqrt(found), np.sqrt(expected))


@pytest.mark.parametrize("length", LENGTHS)
def test_the_expected_error_of_a_sum_is_honest(gaps, length):
    """On gaps at random; in the cold half of the year a wrong temperature costs less than is expected."""
    of_kind = [gap for gap in gaps if gap.days == length and gap.kind == "at random"]
    found = np.mean([gap.degree_days["fill"] ** 2 for gap in of_kind])
    expected = np.mean([gap.expected["heat"] for gap in of_kind])
    assert 0.6 < np.sqrt(found / expected) < 1.15, (np.sqrt(found), np.sqrt(expected))


def test_a_gap_longer_than_a_month_stays_open_without_fall_backs(records, tmp_path):
    lines = (records / "CIMIS-39.csv").read_text().splitlines()
    kept = [line for line in lines if not "2015-05-01" <= line.split(",")[1] <= "2015-06-05"]
    path = tmp_path / "CIMIS-39.csv"
    path.write_text("\n".join(kept) + "\n")
    said = rows("fill", path)
    assert not [row for row in said if "2015-05-01" <= row["date"] <= "2015-06-05"]
    said = rows("fill", path, "--others", records / "CIMIS-80.csv")
    filled = [row for row in said if "2015-05-01" <= row["date"] <= "2015-06-05"]
    assert len(filled) == 72 and {row["method"] for row in filled} == {"fall-backs"}


