"""Simulated generations on the heat of real seasons: when the egg laying of each begins, drawn from what is declared
of the insect, of the start and of the block's first hull split.

A scatter is normal, each side with its own width where the declared ones differ. What people declare in days is read
as every range is: it holds four of five. Days of the year count from 0 for 1 January, without 29 February.
"""

import datetime
from dataclasses import dataclass

import numpy as np

FOUR_OF_FIVE, NINE_OF_TEN = 1.2816, 1.6449  # normal quantiles of 0.9 and 0.95

# °F-days, and the standard deviation below and above. The second generation: 1056 from the start (Sanderson, Barnes
# & Seaman 1989, Environ. Entomol. 18:612-617, from memory); its 90 is assumed, no source gives one. On new-crop nuts
# 723 (as before), 500 to 900 (Rijal 2018, UC Cooperative Extension), read as the span that holds nine of ten.
SECOND = (1056, 90, 90)
NEW_CROP = (723, (723 - 500) / NINE_OF_TEN, (900 - 723) / NINE_OF_TEN)

BY_HAND_DAYS = 3  # a start set by hand, to each side: common practice, no source
CHECK_DAYS = 4  # egg traps are read twice a week (UC IPM almond guideline)
EXPECTED_DAYS = 5  # a hull split that somebody expects, to each side: common practice, no source

# The days that people set or expect, and how far they lie apart from season to season: 15 April, 1 July; assumed.
START_DAY, START_SPREAD_DAYS = 104, 8
SPLIT_DAY, SPLIT_SPREAD_DAYS = 181, 5

GENERATIONS = ("second-generation", "third-generation", "fourth-generation")


@dataclass
class Season:
    """One season of a station: its heat as a level at the beginning of each day, and the days that people take for a
    block's egg-laying start and for its hull split."""

    year: int
    level: np.ndarray
    start: int
    split: int

    def when(self, level):
        """The instant at which a level is reached. One that is not stands at the year's end."""
        return np.interp(level, self.level, np.arange(len(self.level)))

    def heat(self, day):
        return np.interp(day, np.arange(len(self.level)), self.level)

    def expected(self):
        """When each generation begins if all is as declared."""
        return self.begun(self.start, self.split, lambda mark: mark[0])

    def begun(self, start, split, of_mark):
        second = self.heat(start) + of_mark(SECOND)
        third = np.maximum(second, self.heat(split)) + of_mark(NEW_CROP)
        fourth = third + of_mark(NEW_CROP)
        return {name: self.when(level) for name, level in zip(GENERATIONS, (second, third, fourth))}

    def drawn(self, by_traps, split, count, rng):
        """When each generation begins in a block whose first split is known, for so many simulated broods."""
        start = self.start + (since_the_check if by_traps else about_the_day)(count, rng)
        return self.begun(start, split, lambda mark: scattered(mark, count, rng))


def season(year, daily, rng):
    """Of the daily heat of a year, with days drawn for it."""
    start = round(rng.normal(START_DAY, START_SPREAD_DAYS))
    split = round(rng.normal(SPLIT_DAY, SPLIT_SPREAD_DAYS))
    return Season(year, np.concatenate([[0], np.cumsum(daily)]), start, split)


def true_split(of, rng):
    """The day on which it is seen."""
    return round(of.split + rng.normal(0, EXPECTED_DAYS / FOUR_OF_FIVE))


def since_the_check(count, rng):
    """Days from a start by traps: each since the check before is as likely."""
    return -rng.integers(0, CHECK_DAYS, count)


def about_the_day(count, rng):
    """Days from a start by hand."""
    return rng.normal(0, BY_HAND_DAYS / FOUR_OF_FIVE, count)


def scattered(mark, count, rng):
    at, below, above = mark
    off = rng.normal(0, 1, count)
    return at + off * np.where(off < 0, below, above)


def civil(year, day):
    return (datetime.date(2001, 1, 1) + datetime.timedelta(day)).replace(year=year)


def day_of_year(text):
    """Of a day outside winter."""
    return (datetime.date.fromisoformat(text).replace(year=2001) - datetime.date(2001, 1, 1)).days
