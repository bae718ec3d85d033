"""A smoother of twenty lines, beside which the program's flights are shown: no weather, no service, no rules."""

import numpy as np

FLOOR = 0.15  # of the season's highest, above which a top counts; chosen on development seeds


def smoothed_flights(season):
    """Tops of the three-point moving mean of the catch per trap per night, as flights with nothing but a peak."""
    counts, nights = {}, {}
    for trap in season.beside_traps or season.moth_traps:
        before = trap.hung
        for visit in trap.visits:
            if visit.count is not None:
                counts[visit.day] = counts.get(visit.day, 0) + visit.count
                nights[visit.day] = nights.get(visit.day, 0) + visit.day - before
            before = visit.day
    days = sorted(counts)
    rates = np.array([counts[day] / nights[day] for day in days])
    mean = np.convolve(rates, np.ones(3) / 3, mode="same")
    padded = np.concatenate([[0], mean, [0]])
    tops = (padded[1:-1] > padded[:-2]) & (padded[1:-1] >= padded[2:]) & (mean > FLOOR * mean.max())
    return [{"highest": days[at] - 4, "start": (None, "none"), "peak": (days[at] - 4, "seen"), "end": (None, "none")}
            for at in np.flatnonzero(tops)]
