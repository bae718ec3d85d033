-- Step 2: what people decided about single temperatures.

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
