"""Simulated trap seasons of navel orangeworm, with the truth behind them.

A season is one block in one year of a real station. Moths come out along the degree-day axis
(single sine, horizontal cutoff, 55 and 94 °F); each generation's eggs give the next one 1056 or 723
degree-days later, with a spread. Traps catch a skewed sample of what flies: many zeros, few large
counts. Then everything that goes wrong in a season of reading traps goes wrong: rounds are missed,
bait gets wet, liners fill, lures fade, dispensers hide the males, single eggs stray.

The truth of a generation, all by civil day:

- its eggs start on the day by whose end 5 % of them are laid (the egg-laying start);
- its flight starts on the day by whose end 5 % of its adults have come out, ends with 95 %, and peaks
  on the day on which most come out.

`parameters` holds every number with its source, `weather` the station years, `population` what flies
and lays, `traps` what is caught and read, `plan` the kinds of season and the seeds. The generator was
written before the detector that it judges and knows nothing of it. Seeds to develop on and seeds to
report on are disjoint, and so are their station years: nothing may be chosen by looking at the latter.
"""
