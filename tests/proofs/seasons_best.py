"""About the best that any rule could do with the same readings: the posterior median of a season's true
days, knowing every number of the generator.

What differs from season to season has a prior: heat of the first peak and its spread, lengths of three
generations, sizes of three, level of catches. Samples are drawn from a normal distribution that is fitted
to their weights in a few steps (adaptive importance sampling). Bait that got wet unseen, and the overlap of
weeks with rounds, are left out, so it is near to the best and not quite it.
"""

import numpy as np
from scipy.special import logsumexp, ndtr
from scipy.stats import gamma

from seasons import parameters as p
from seasons import plan, population, traps
from seasons_table import check_dates

SAMPLES, STEPS, FEWEST_EFFECTIVE = 200, 4, 40
UNKNOWNS = 9
AT, HEATS, SIZES, LEVEL, SPREAD = 0, slice(1, 4), slice(4, 7), 7, 8
GRADES = 6  # of a trap's quality, or of a week's weather
# A round of seven nights falls into two weeks, four nights and three.
ROUND_SPREAD = p.WEEK_SPREAD * np.hypot(4, 3) / 7


def generations(unknown, heat):
    """Shares of each generation emerged and laid by day: (samples, generations, days) twice."""
    lengths = np.array([p.ON_MUMMIES, p.ON_NEW_NUTS, p.ON_NEW_NUTS])
    steps = p.LAID_AFTER + lengths + p.GENERATION_BETWEEN_SEASONS * unknown[:, HEATS]
    first = p.FIRST_PEAK_HEAT + p.FIRST_PEAK_BETWEEN_SEASONS * unknown[:, [AT]]
    at = np.hstack([first, first + np.cumsum(steps, axis=1)])[:, :, None]
    widened = p.LAID_SPREAD**2 + p.GENERATION_SPREAD**2
    narrowest, widest = p.FIRST_SPREAD
    of_first = narrowest + (widest - narrowest) * ndtr(unknown[:, SPREAD])[:, None]
    spread = np.sqrt(of_first**2 + widened * np.arange(4))[:, :, None]
    emerged = ndtr((heat - at) / spread)
    laid = ndtr((heat - at - p.LAID_AFTER) / np.hypot(spread, p.LAID_SPREAD))
    return emerged, laid


def scaled(curves, unknown, nominal):
    """Generations added up by their sizes, the first one's height at the level."""
    later = np.array(p.SIZES[1:]) * np.exp(p.SIZE_SPREAD * unknown[:, SIZES])
    sizes = np.hstack([np.ones((len(unknown), 1)), later])
    level = nominal * np.exp(p.LEVEL_SPREAD * unknown[:, LEVEL])
    height = np.maximum(curves[:, 0].max(axis=1), 1e-9)
    return np.einsum("sg,sgd->sd", sizes, curves) * (level / height)[:, None]


def skewed(count, mean, shape):
    """Logarithm of the negative binomial, without what only depends on the count."""
    return count * np.log(mean) - (count + shape) * np.log(mean + shape)


def readings(trap):
    """(day before, day, count, share of the catch left) of a trap's readable counts; the age of its parts
    and the fill of its liner are known to whoever reads it."""
    put_in, since, held = dict.fromkeys(trap.put_in, trap.hung), trap.hung, 0
    for visit in trap.visits:
        aged = traps.Trap(trap.kind, trap.hung, put_in)
        left = np.mean([aged.efficiency(night) for night in range(since, visit.day)])
        if visit.count is not None:
            full = traps.liner_efficiency(held + visit.count / 2) if trap.kind != "egg" else 1.0
            yield since, visit.day, visit.count, left * full
            held += visit.count
        for part in visit.serviced:
            put_in[part] = visit.day
        held = 0 if "liner" in visit.serviced else held
        since = visit.day


def over(rate, since, day):
    """Sums of daily rates over nights, by sample."""
    return rate[:, since:day].sum(axis=1)


def eggs_likelihood(season):
    nominal, heat = plan.levels(season.kind, season.level)[1], season.heat[: traps.day_of(p.EGG_TRAPS_TWICE_A_WEEK_TO)]
    grades = gamma.ppf((np.arange(GRADES) + 0.5) / GRADES, p.EGG_TRAP_SHAPE, scale=1 / p.EGG_TRAP_SHAPE)
    read = [[reading for reading in readings(trap) if reading[1] <= len(heat)] for trap in season.egg_traps]

    def likelihood(unknown):
        _, laid = generations(unknown, heat)
        rate = scaled(np.diff(laid, axis=2, prepend=0), unknown, nominal) + p.STRAY_EGGS
        total = 0
        for of_trap in read:
            of_grade = sum(skewed(count, over(rate, since, day)[:, None] * left * grades, p.EGGS_SHAPE)
                           for since, day, count, left in of_trap)
            total = total + logsumexp(of_grade, axis=1)
        return total

    return likelihood


def moths_likelihood(season):
    nominal = plan.levels(season.kind, season.level)[0]
    nodes, weights = np.polynomial.hermite_e.hermegauss(GRADES)
    weather = np.exp(ROUND_SPREAD * nodes)
    rounds = {}
    for trap in season.moth_traps:
        for reading in readings(trap):
            rounds.setdefault(reading[1], []).append(reading)

    def likelihood(unknown):
        emerged, _ = generations(unknown, season.heat)
        gone = np.pad(emerged, ((0, 0), (0, 0), (p.NIGHTS_ON_THE_WING, 0)))[:, :, : emerged.shape[2]]
        rate = scaled(emerged - gone, unknown, nominal) + p.VAGRANTS
        total = 0
        for of_round in rounds.values():
            by_weather = sum(skewed(count, over(rate, since, day)[:, None] * left * weather, p.MOTHS_SHAPE)
                             for since, day, count, left in of_round)
            total = total + logsumexp(by_weather, axis=1, b=weights)
        return total

    return likelihood


def effective(log_weights):
    weights = np.exp(log_weights - log_weights.max())
    return weights.sum() ** 2 / (weights**2).sum()


def tempered(log_weights):
    """The weights, flattened until enough samples share them."""
    power = 1.0
    while effective(power * log_weights) < FEWEST_EFFECTIVE:
        power *= 0.7
    weights = np.exp(power * (log_weights - log_weights.max()))
    return weights / weights.sum()


def posterior(likelihood, rng):
    """Samples of what is unknown, and their weights."""
    mean, covariance = np.zeros(UNKNOWNS), np.eye(UNKNOWNS)
    for _ in range(STEPS):
        root = np.linalg.cholesky(covariance)
        noise = rng.normal(size=(SAMPLES, UNKNOWNS))
        samples = mean + noise @ root.T
        drawn = -0.5 * (noise**2).sum(axis=1)
        log_weights = likelihood(samples) - 0.5 * (samples**2).sum(axis=1) - drawn
        weights = tempered(log_weights)
        mean = weights @ samples
        centred = samples - mean
        covariance = 1.2 * (centred.T * weights) @ centred + 0.01 * np.eye(UNKNOWNS)
    return samples, weights


def median(values, weights):
    order = np.argsort(values)
    return int(values[order][np.searchsorted(np.cumsum(weights[order]), 0.5)])


def first_day(shares, needed):
    """The first day by whose end a share is reached, by sample; the year's end where it is not."""
    reached = shares >= needed
    return np.where(reached.any(axis=1), reached.argmax(axis=1), shares.shape[1])


def best_start(season, rng):
    """The check date that the egg-laying start most likely falls to."""
    samples, weights = posterior(eggs_likelihood(season), rng)
    _, laid = generations(samples, season.heat)
    day = median(first_day(laid[:, 0], population.START), weights)
    checks = np.array(check_dates(season))
    return int(checks[min((checks <= day).sum(), len(checks) - 1)])


def best_flights(season, rng):
    """Flights as `seasons_table` takes them: those whose peak the readings reach."""
    samples, weights = posterior(moths_likelihood(season), rng)
    emerged, _ = generations(samples, season.heat)
    last = max(visit.day for trap in season.moth_traps for visit in trap.visits)
    told = []
    for generation in range(emerged.shape[1]):
        curve = emerged[:, generation]
        start, end = (median(first_day(curve, share), weights) for share in (population.START, population.END))
        peak = median(np.diff(curve, axis=1, prepend=0).argmax(axis=1), weights)
        if peak <= last:
            told.append({"highest": peak, "start": (start, "seen"), "peak": (peak, "seen"), "end": (end, "seen")})
    return told
