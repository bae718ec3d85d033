-- Step 2: what people decided about single temperatures, and forecasts.

CREATE TABLE temperature_decision (
  -- A received temperature that somebody vouched for or put right: it stands whatever screening says.
  station     TEXT NOT NULL,                                   -- id in duskflight.toml
  day         TEXT NOT NULL CHECK (day GLOB '????-??-??'),     -- civil day the temperature is of
  element     TEXT NOT NULL CHECK (element IN ('tmin', 'tmax')),
  decision    TEXT NOT NULL CHECK (decision IN ('confirmed', 'corrected')),
  value       REAL NOT NULL,                                   -- in `unit`: what was confirmed, or what stands instead
  unit        TEXT NOT NULL CHECK (unit IN ('f', 'c')),
  why         TEXT NOT NULL,                                   -- the reason given
  entered_at  INTEGER NOT NULL,                                -- instant it was entered
  entered_by  TEXT NOT NULL,                                   -- who decided
  via         TEXT NOT NULL,                                   -- how it came in
  PRIMARY KEY (station, day, element)
) STRICT, WITHOUT ROWID;

CREATE TABLE temperature_decision_history (
  -- Decisions as they stood before they were changed or withdrawn.
  station     TEXT NOT NULL,
  day         TEXT NOT NULL,
  element     TEXT NOT NULL,
  decision    TEXT NOT NULL,
  value       REAL NOT NULL,
  unit        TEXT NOT NULL,
  why         TEXT NOT NULL,
  entered_at  INTEGER NOT NULL,
  entered_by  TEXT NOT NULL,
  via         TEXT NOT NULL,
  replaced_at INTEGER NOT NULL,                                -- instant of the change or withdrawal
  replaced_by TEXT NOT NULL                                    -- who changed or withdrew it
) STRICT;
CREATE INDEX temperature_decision_history_by_day ON temperature_decision_history (station, day);

CREATE TABLE forecast_day (
  -- The newest forecast of each station, a model's days; replaced whole by the next one. None of it
  -- ever counts as read at the station.
  station     TEXT NOT NULL,                                   -- id in duskflight.toml
  day         TEXT NOT NULL CHECK (day GLOB '????-??-??'),     -- civil day at the place
  tmin        REAL,                                            -- in `unit`; NULL = not given
  tmax        REAL,
  unit        TEXT NOT NULL CHECK (unit IN ('f', 'c')),
  made_on     TEXT NOT NULL,                                   -- civil day of the fetch in the farm's zone
  received_at INTEGER NOT NULL,                                -- instant of the fetch
  PRIMARY KEY (station, day)
) STRICT, WITHOUT ROWID;
