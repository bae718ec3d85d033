"""Every number of the generator, each with its source. Heat is in °F-days, single sine with horizontal
cutoff between 55 and 94 °F (University of California extension teaching material)."""

LOWER_F, UPPER_F = 55.0, 94.0

# The overwintered generation. Emergence February to June, peak 21 April to 15 May (Bentley, Siegel,
# Holtz & Daane 2008, Pistachio Production Manual). At the stations used here 400 °F-days have added up
# since 1 January on 21 April in the middle year, 680 on 15 May.
FIRST_PEAK_HEAT = 530.0
FIRST_PEAK_BETWEEN_SEASONS = 70.0  # the same dates as two standard deviations to either side
# The same source's span, read as mid-February to mid-June: 52 to 1118 °F-days at these stations in the middle
# year. Taken as three standard deviations to either side of all years' moths, less what is between
# seasons, it leaves 164 within one, which is the widest; that one may be half as wide is from memory.
FIRST_SPREAD = (85.0, 165.0)
# Two humps in one flight: 14 April and 2 May 2017, 26 April and 15 May 2018 (Rijal 2018, University of
# California Cooperative Extension): 18 and 19 days, about 190 °F-days at that time of the year.
HUMPS_APART = (160.0, 230.0)
HUMP_SPREAD = 60.0  # from memory: two humps that can be told apart on weekly counts
HUMP_SHARE = (0.35, 0.65)  # of the first hump: from memory

# An early trickle: some weeks of single moths before the others, as in springs that warm up early. Share, how
# much earlier and how wide: from memory.
TRICKLE_SHARE, TRICKLE_BEFORE, TRICKLE_SPREAD = (0.08, 0.2), (170.0, 280.0), 50.0
# A cold spell soon after laying has begun: moths hardly fly or lay. Days after the start, length in days, and
# what is left: from memory; eggs that are not laid are lost.
COLD_AFTER, COLD_DAYS, COLD_LEFT = (3, 12), (8, 14), 0.08

# One generation, from eggs to adults. On last year's nuts 1056 (University of California model
# settings); on new almonds 723 (Sanderson, Barnes & Seaman 1989, from memory), 500 to 900 possible
# (Rijal 2018): taken as two standard deviations, shared out between seasons and moths.
ON_MUMMIES, ON_NEW_NUTS = 1056.0, 723.0
GENERATION_BETWEEN_SEASONS = 60.0
GENERATION_SPREAD = 80.0

# Laying begins on the second night after emergence (UC IPM almond guideline): 40 to 50 °F-days in June,
# and goes on for some nights: the spread is from memory.
LAID_AFTER, LAID_SPREAD = 50.0, 40.0
NIGHTS_ON_THE_WING = 10  # of a moth; from memory

# How many moths a generation has beside the first: the third and fourth are always larger (extension
# interviews, 2015 and later); the numbers are from memory, and so is their spread (of the logarithm).
SIZES = (1.0, 0.8, 1.5, 2.0)
SIZE_SPREAD = 0.3

# Counts are strongly right-skewed, many zeros and few large ones (Higbee & Burks 2011, J. Econ.
# Entomol. 104:211-219). The shapes of the negative binomial are from memory.
EGGS_SHAPE = 0.8
EGG_TRAP_SHAPE = 2.0  # of what makes one egg trap better than another all season
MOTHS_SHAPE = 2.0
# Warm and cold, windy and still weeks, shared by all traps of a round (of the logarithm; from memory).
WEEK_SPREAD = 0.35

# A trap and night at the height of the first flight. Below 50 males a trap and week a trap draws from
# more than 400 m (Burks & Higbee 2013, Environ. Entomol. 42:143-149); the middle level lies there.
CATCH_LEVELS = {"low": 0.7, "middle": 3.0, "high": 10.0}
EGG_LEVELS = {"low": 0.5, "middle": 2.0, "high": 6.0}  # from memory
LEVEL_SPREAD = 0.3  # of the logarithm, between blocks; from memory
# Moths that come from elsewhere, and eggs without a flight, per trap per night; from memory.
VAGRANTS, STRAY_EGGS = 0.02, 0.002
STRAY_EGGS_OF_A_STRAY_SEASON = 0.04

# Traps. Egg traps hang by 15 March and are read twice a week in spring (UC IPM almond guideline; Sacramento
# Valley extension 2023), once a week after; moth traps hang in early March and are read weekly (Rijal 2018).
EGG_TRAPS_HUNG, EGG_TRAPS_TWICE_A_WEEK_TO, EGG_TRAPS_READ_TO = (3, 8), (6, 15), (9, 30)
MOTH_TRAPS_HUNG, MOTH_TRAPS_READ_TO = (3, 1), (10, 18)
EGG_TRAP_DAYS = (3, 4)  # in turn
WEEKLY = (7,)
# Egg traps are weak when new nuts compete with them (UC Cooperative Extension): what is left from hull split
# on is from memory.
EGGS_LEFT_FROM_SPLIT = 0.4

# Service lives, days.
LURE_LIFE = 35  # 4 to 6 weeks (Rijal 2018)
PPO_LIFE = 42  # Burks 2017, J. Econ. Entomol. 110:438-446
EGG_BAIT_LIFE = 28  # UC IPM almond guideline
BAG_BAIT_LIFE = 42  # 4 to 8 weeks, from memory
LINER_LIFE = 42  # common practice, no source
HALF_AS_GOOD_AFTER = 14  # days past its life, a lure or bait; from memory

# A 465 cm² liner catches less once it holds 50 to 60 moths (Kuenen 2008, ESA Pacific Branch abstract),
# along a power curve (Kuenen & Siegel 2016, California Agriculture 70:32-38); its power is from memory.
LINER_CM2, LINER_FULL, LINER_POWER = 465, 50, 1.5

# Mating disruption takes a third to two thirds off the eggs on traps and 88 % to more than 95 % off the
# males in pheromone traps (IOBC-WPRS Bulletin, 88 orchards, 2019-21).
EGGS_LEFT = (1 / 3, 2 / 3)
MALES_LEFT = (0.03, 0.12)
COMBINED_CATCH, BAG_CATCH = 0.5, 0.3  # of a pheromone trap's without disruption; from memory
# Disruption near by reaches into a conventional block: 0.2 to 1.6 males per trap per night in pheromone traps
# through a second flight where combined ones beside them had up to 10.4 (2017 counts published with Burks,
# Higbee & Beck 2020, J. Econ. Entomol., doi 10.1093/jee/toz363); in August both caught as much.
MALES_LEFT_NEAR_DISRUPTION, NEAR_DISRUPTION_TO = (0.02, 0.15), (7, 28)
# Bait bags fade after about 21 July as new nuts split (CABI Agriculture and Bioscience 2024, 5:30).
BAG_FADES_FROM, BAG_HALVES_IN, BAG_LEFT = (7, 21), 10, 0.1  # the two last from memory
# Hull split of the early variety begins at the end of June to the first week of July (University of
# California extension 2017).
HULL_SPLIT, HULL_SPLIT_SPREAD_DAYS = (7, 2), 4

# What goes wrong at a visit, in an ordinary season and in one of the kind; from memory.
ROUND_MISSED = {"ordinary": 0.04, "missed": 0.25}
TRAP_MISSED = {"ordinary": 0.03, "missed": 0.10}
UNREADABLE = 0.03
BAIT_GETS_WET = {"ordinary": 0.02, "wet": 0.12}
WET_BAIT_CATCHES, WET_BAIT_NOTICED = 0.3, 0.5
SERVICE_FORGOTTEN = {"ordinary": 0.10, "lapsed": 0.75}
