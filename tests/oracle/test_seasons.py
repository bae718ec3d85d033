"""The simulated seasons are what they claim: the same for a seed, skewed, and true to their sources."""

from seasons import parameters, plan, traps, weather


def seasons(kind, level="middle", count=40):
    years = plan.DEVELOPMENT["years"]
    return [plan.season(kind, level, 4, 4, seed, years) for seed in plan.DEVELOPMENT["seeds"][:count]]


def counts(of_seasons, kind):
    return [[visit.count for trap in getattr(season, kind) for visit in trap.visits
             if visit.count is not None] for season in of_seasons]


def test_what_is_reported_shares_no_seed_or_year_with_what_is_developed_on():
    development, reporting = plan.DEVELOPMENT, plan.REPORTING
    assert not set(development["seeds"]) & set(reporting["seeds"])
    assert development["years"][1] < reporting["years"][0]


def test_a_seed_gives_the_same_season_again():
    assert seasons("plain", count=3) == seasons("plain", count=3)


def test_first_flights_peak_when_the_handbook_says():
    """21 April to 15 May (Bentley et al. 2008), in most years: weather moves single ones."""
    peaks = sorted(season.truth[0].peak for season in seasons("plain"))
    inside = [traps.day_of((4, 14)) <= peak <= traps.day_of((5, 22)) for peak in peaks]
    assert sum(inside) > 0.8 * len(inside)


def test_generations_are_apart_what_is_published():
    for season in seasons("plain"):
        at = [season.heat[truth.peak] for truth in season.truth[:3] if truth.peak]
        assert 800 < at[1] - at[0] < 1400 and 450 < at[2] - at[1] < 1100


def test_egg_counts_are_mostly_zero_with_a_few_large_ones():
    """Higbee & Burks 2011: strongly right-skewed."""
    eggs = [count for season in counts(seasons("plain"), "egg_traps") for count in season]
    assert sum(count == 0 for count in eggs) > len(eggs) / 2
    assert max(eggs) > 10 * sum(eggs) / len(eggs)


def test_a_liner_that_is_not_changed_holds_no_more_than_its_curve_lets_on():
    saturated, plain = (max(sum(trap.visits[at].count or 0 for at in range(24, len(trap.visits)))
                            for season in seasons(kind, "high", 10) for trap in season.moth_traps)
                        for kind in ("saturated", "plain"))
    assert saturated < plain
    assert traps.liner_efficiency(parameters.LINER_FULL) == 1
    assert traps.liner_efficiency(4 * parameters.LINER_FULL) == 1 / 8  # 4 to the power of 1.5


def test_every_station_year_is_whole():
    for station, year in weather.station_years(*plan.DEVELOPMENT["years"]):
        assert 3_000 < weather.level(station, year)[-1] < 5_500


def test_the_first_brood_is_over_when_the_guide_says():
    """1,000 °F-days since 1 January, from which on no start is taken (deploy/guide/egg-laying-start.md)."""
    years = weather.station_years(1950, 2025)
    over = sorted(int((weather.level(*of) >= 1000).argmax()) for of in years)
    assert len(over) == 125
    assert [over[0], over[62], over[-1]] == [traps.day_of(day) for day in ((5, 16), (6, 6), (7, 1))]
    assert sum(day <= traps.day_of((5, 15)) for day in over) == 0
    assert sum(day <= traps.day_of((5, 20)) for day in over) == 2
