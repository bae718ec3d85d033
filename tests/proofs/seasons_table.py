"""What is told of simulated seasons against their truth.

An egg-laying start is *right* when it is the check date that the true one falls to or a neighbour of
it, *early* or *late* beyond that, *never* when none was confirmed, and *false* when one was confirmed
or provisional in a season without egg laying. The true check date is the first after the day by whose
end 5 % of the generation's eggs are laid.

A told flight is a generation's when its highest reading lies between ten days before that flight's true
start and ten days after its end, the nearest true peak first. True flights without one are *missed*, told
ones without one *false*. Days off count from the middle of the nights told to the true day, late positive. It is
*named* right when its number is that generation's.
"""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from seasons import traps
from seasons_farm import day_of_year

AROUND = 10
LAST_START = traps.day_of((9, 20))  # flights that start later cannot be read to a peak


def check_dates(season):
    """The days on which egg traps were read."""
    return sorted({visit.day for trap in season.egg_traps for visit in trap.visits})


def start_verdict(season, day):
    """How a told start stands to the truth; `day` is None where none was told."""
    if not season.truth:
        return "none" if day is None else "false"
    if day is None:
        return "never"
    checks = np.array(check_dates(season))
    due = int((checks > season.truth[0].eggs).argmax())
    off = int((checks >= day).argmax()) - due
    return "early" if off < -1 else "late" if off > 1 else "right"


def middle(of_round):
    after, by = day_of_year(of_round["after"]), day_of_year(of_round["by"])
    return after + (by - after + 1) // 2


@dataclass
class Flown:
    """Flights of several seasons, told against true."""

    seasons: int = 0
    true: int = 0
    found: int = 0
    false: int = 0
    off: dict = field(default_factory=lambda: {"start": [], "peak": [], "end": []})
    named: int = 0
    answers: dict = field(default_factory=lambda: {"start": Counter(), "peak": Counter(), "end": Counter()})

    def add(self, season, told):
        """`told` is a list of flights: highest day, and days or None with a status by name."""
        true = [truth for truth in season.truth if truth.start is not None and truth.peak is not None]
        number = {truth: at for at, truth in enumerate(season.truth, 1)}
        counted = [truth for truth in true if truth.start <= LAST_START]
        self.seasons += 1
        self.true += len(counted)
        for flight, truth in matched(told, true):
            if truth is None:
                self.false += 1
            elif truth in counted:
                self.found += 1
                self.named += flight.get("number") == number[truth]
                self.compare(flight, truth)

    def compare(self, flight, truth):
        for name in self.off:
            day, status = flight[name]
            self.answers[name][status] += 1
            if day is not None and getattr(truth, name) is not None:
                self.off[name].append(day - getattr(truth, name))

    def told(self, name):
        """Flights of which a day was told; a peak also where liners were too full to count all."""
        return self.answers[name]["seen"] + self.answers[name]["at-least"]

    @property
    def missed(self):
        return self.true - self.found


def matched(told, true):
    """Told flights with the true one each is, or None; no true one twice."""
    free, pairs = list(true), []
    for flight in told:
        fits = [truth for truth in free
                if truth.start - AROUND <= flight["highest"] <= (truth.end or 365) + AROUND]
        truth = min(fits, key=lambda truth: abs(truth.peak - flight["highest"]), default=None)
        if truth:
            free.remove(truth)
        pairs.append((flight, truth))
    return pairs


def told_flights(block):
    """The flights the program tells of a block."""
    told = []
    for flight in block["flights"].get("seen", []):
        days = {name: (middle(flight[name]["in"]) if flight[name]["in"] else None, flight[name]["status"])
                for name in ("start", "peak", "end")}
        told.append({"number": flight["number"], "highest": middle(flight["highest"]), **days})
    return told


def quantiles(off):
    return "      –" if not off else "{:+4.0f} ({:.1f})".format(np.median(off), np.mean(np.abs(off)))
