-- What an unattended box needs to know of itself.

CREATE TABLE answer_aside (
  -- A feed's answer that was odd as a whole: no day of it is stored until somebody takes it. One a station and
  -- year; the newest takes the place of the one before.
  station     TEXT NOT NULL,                                   -- id in duskflight.toml
  year        INTEGER NOT NULL,                                -- of its last day asked for: past years come one by one
  from_day    TEXT NOT NULL,                                   -- first civil day asked for
  to_day      TEXT NOT NULL,                                   -- last civil day asked for
  oddity      TEXT NOT NULL,                                   -- what kind of odd; another one is another question
  reason      TEXT NOT NULL,                                   -- the same in words, with its size
  feed        TEXT NOT NULL,                                   -- kind of feed it came from
  since       INTEGER NOT NULL,                                -- instant of the first such answer
  at          INTEGER NOT NULL,                                -- instant of the newest
  days        TEXT CHECK (json_valid(days)),                   -- the newest's days as received; NULL = thrown away, ask no more
  PRIMARY KEY (station, year)
) STRICT, WITHOUT ROWID;

CREATE TABLE feed_tries (
  -- Requests in vain of one window of fetching, so that a restart does not begin counting anew.
  feed        TEXT NOT NULL,                                   -- station id, and for its forecast 'ID forecast'
  job         TEXT NOT NULL CHECK (job IN ('fetch', 'fetch-late')),
  day         TEXT NOT NULL,                                   -- civil day of the window in the farm's zone
  in_vain     INTEGER NOT NULL,                                -- requests that brought no data
  PRIMARY KEY (feed, job)                                      -- the newest window's take the place of the one before
) STRICT, WITHOUT ROWID;

CREATE TABLE feed_wait (
  -- Hosts of feeds that asked to be left alone (`Retry-After`), a day at most.
  host        TEXT PRIMARY KEY,                                -- with its port where that is not the usual one
  asked_at    INTEGER NOT NULL,                                -- instant of its answer
  until       INTEGER NOT NULL                                 -- not asked before this instant
) STRICT, WITHOUT ROWID;
