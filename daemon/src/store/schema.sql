-- Duskflight's records: what happened. What the farm declares stands in its configuration files;
-- everything else (heat, seasons, projections) is computed from both and is never stored.
-- Civil days are TEXT 'YYYY-MM-DD' in the farm's or the station's zone; instants are INTEGER
-- seconds since 1970-01-01 UTC.

CREATE TABLE station_day (
  -- Temperatures as received: one row a station and civil day, never converted, never judged here.
  station     TEXT NOT NULL,                                   -- id in duskflight.toml
  day         TEXT NOT NULL CHECK (day GLOB '????-??-??'),     -- civil day in the station's zone
  tmin        REAL,                                            -- lowest temperature in `unit`; NULL = not received
  tmax        REAL,                                            -- highest temperature in `unit`; NULL = not received
  unit        TEXT NOT NULL CHECK (unit IN ('f', 'c')),        -- unit of tmin and tmax as received
  tmin_flag   TEXT,                                            -- the provider's flag for a doubtful tmin
  tmax_flag   TEXT,                                            -- the provider's flag for a doubtful tmax
  feed        TEXT NOT NULL,                                   -- kind of feed it came from
  received_at INTEGER NOT NULL,                                -- instant of the fetch that brought these values
  PRIMARY KEY (station, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE station_day_history (
  -- Values that a later fetch replaced: what was computed with before the revision.
  station     TEXT NOT NULL,
  day         TEXT NOT NULL,
  tmin        REAL,                                            -- as in station_day
  tmax        REAL,
  unit        TEXT NOT NULL,
  tmin_flag   TEXT,
  tmax_flag   TEXT,
  feed        TEXT NOT NULL,
  received_at INTEGER NOT NULL,                                -- when the old values had come
  replaced_at INTEGER NOT NULL                                 -- when the new ones came
) STRICT;
CREATE INDEX station_day_history_by_day ON station_day_history (station, day);

CREATE TABLE fetch_log (
  -- Every fetch and what came of it.
  id          INTEGER PRIMARY KEY,
  station     TEXT NOT NULL,
  from_day    TEXT NOT NULL,                                   -- first civil day asked for
  to_day      TEXT NOT NULL,                                   -- last civil day asked for
  at          INTEGER NOT NULL,                                -- instant of the fetch
  outcome     TEXT NOT NULL CHECK (outcome IN ('ok', 'failed')),
  days        INTEGER NOT NULL,                                -- days received
  changed     INTEGER NOT NULL,                                -- of those, new or different
  detail      TEXT                                             -- error, or rows that could not be read
) STRICT;
CREATE INDEX fetch_log_by_station ON fetch_log (station, at);

CREATE TABLE visit (
  -- One reading of one trap on one civil day. A count that was not given is NULL, never 0.
  trap        TEXT NOT NULL,                                   -- id in traps.csv
  day         TEXT NOT NULL CHECK (day GLOB '????-??-??'),
  eggs        INTEGER CHECK (eggs >= 0),                       -- eggs counted and taken off
  moths       INTEGER CHECK (moths >= 0),                      -- moths, both sexes, unsexed
  males       INTEGER CHECK (males >= 0),
  females     INTEGER CHECK (females >= 0),
  readable    INTEGER NOT NULL CHECK (readable IN (0, 1)),     -- 0 = wet, lost, overgrown: no count
  serviced    TEXT NOT NULL,                                   -- parts replaced: lure ppo bait liner, by blanks
  note        TEXT NOT NULL,
  entered_at  INTEGER NOT NULL,                                -- instant it was entered
  entered_by  TEXT NOT NULL,                                   -- who entered it
  via         TEXT NOT NULL,                                   -- how, such as 'import round-3.csv'
  entry_id    TEXT NOT NULL UNIQUE,                            -- one entry; the same entry is never applied twice
  PRIMARY KEY (trap, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE visit_history (
  -- Visits as they stood before an edit.
  trap        TEXT NOT NULL,
  day         TEXT NOT NULL,
  eggs        INTEGER,
  moths       INTEGER,
  males       INTEGER,
  females     INTEGER,
  readable    INTEGER NOT NULL,
  serviced    TEXT NOT NULL,
  note        TEXT NOT NULL,
  entered_at  INTEGER NOT NULL,
  entered_by  TEXT NOT NULL,
  via         TEXT NOT NULL,
  entry_id    TEXT NOT NULL,
  replaced_at INTEGER NOT NULL                                 -- when the newer entry came
) STRICT;
CREATE INDEX visit_history_by_entry ON visit_history (entry_id);

CREATE TABLE note (
  -- Field notes about a block or one of its varieties. One note a block, variety, kind and day.
  block       TEXT NOT NULL,                                   -- id in blocks.csv
  variety     TEXT NOT NULL,                                   -- '' where it is about the whole block
  kind        TEXT NOT NULL CHECK (kind IN ('egg-laying-start', 'hull-split', 'hull-split-expected')),
  day         TEXT NOT NULL CHECK (day GLOB '????-??-??'),     -- civil day it was seen or decided
  value       TEXT,                                            -- the day set or expected; NULL for hull-split
  note        TEXT NOT NULL,                                   -- such as the reason of a start set by hand
  entered_at  INTEGER NOT NULL,
  entered_by  TEXT NOT NULL,
  via         TEXT NOT NULL,
  entry_id    TEXT NOT NULL UNIQUE,
  PRIMARY KEY (block, variety, kind, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE note_history (
  -- Notes as they stood before an edit.
  block       TEXT NOT NULL,
  variety     TEXT NOT NULL,
  kind        TEXT NOT NULL,
  day         TEXT NOT NULL,
  value       TEXT,
  note        TEXT NOT NULL,
  entered_at  INTEGER NOT NULL,
  entered_by  TEXT NOT NULL,
  via         TEXT NOT NULL,
  entry_id    TEXT NOT NULL,
  replaced_at INTEGER NOT NULL
) STRICT;
CREATE INDEX note_history_by_entry ON note_history (entry_id);

CREATE TABLE outbox (
  -- Mails, written with their cause in one transaction and sent afterwards. The bytes are frozen.
  message_id  TEXT PRIMARY KEY,                                -- Message-ID header, set once, kept on every try
  kind        TEXT NOT NULL CHECK (kind IN ('digest', 'alert', 'test')),
  person      TEXT NOT NULL,                                   -- recipient's id in duskflight.toml
  adviser     TEXT NOT NULL,                                   -- the adviser whose blocks it is about
  day         TEXT NOT NULL,                                   -- civil day of telling
  address     TEXT NOT NULL,                                   -- recipient's address that day
  subject     TEXT NOT NULL,
  body        BLOB NOT NULL,                                   -- the whole message, headers included
  queued_at   INTEGER NOT NULL,
  waits_for   TEXT REFERENCES outbox (message_id),             -- the adviser's digest that must be sent first
  hold_s      INTEGER NOT NULL,                                -- seconds to wait after that one was sent
  state       TEXT NOT NULL                                    -- failed = refused, expired = given up after days
              CHECK (state IN ('queued', 'sent', 'failed', 'expired')),
  attempts    INTEGER NOT NULL,                                -- counted before each try
  refusals    INTEGER NOT NULL,                                -- tries refused without a clear reason
  first_try_at INTEGER,                                        -- instant of the first try
  next_try_at INTEGER NOT NULL,                                -- not tried before this instant
  last_error  TEXT,                                            -- why the last try failed; no address, no secret
  sent_at     INTEGER,                                         -- instant the transport took it over
  answer      TEXT,                                            -- the words with which it was taken over
  given_up_at INTEGER                                          -- instant it became failed or expired
) STRICT;
-- One mail a day of each kind, person and adviser; a test can be made as often as one likes.
CREATE UNIQUE INDEX outbox_once_a_day ON outbox (kind, person, adviser, day) WHERE kind != 'test';
CREATE INDEX outbox_by_state ON outbox (state, person, queued_at);

CREATE TABLE mail_trouble (
  -- Trouble with the way to all recipients, such as a server that is down or a wrong password: while
  -- there is a row, no mail is tried before next_try_at. One row at most.
  id          INTEGER PRIMARY KEY CHECK (id = 1),
  since       INTEGER NOT NULL,                                -- instant of the first failure in a row
  failures    INTEGER NOT NULL CHECK (failures >= 1),          -- failures in a row
  next_try_at INTEGER NOT NULL,
  error       TEXT NOT NULL,                                   -- what happened last; no address, no secret
  advice      TEXT                                             -- what to mend; NULL = it may pass by itself
) STRICT;

CREATE TABLE told (
  -- The ledger: what each person was told of each event, every revision of it. Rows whose mail has
  -- failed or expired count as untold.
  season      INTEGER NOT NULL,                                -- year
  block       TEXT NOT NULL,
  insect      TEXT NOT NULL,
  event       TEXT NOT NULL,                                   -- key of the event, stable ids only
  person      TEXT NOT NULL,
  revision    INTEGER NOT NULL CHECK (revision >= 1),
  value       TEXT,                                            -- day, or early/middle/late days; NULL = withdrawn
  day         TEXT NOT NULL,                                   -- civil day of telling
  mail        TEXT REFERENCES outbox (message_id),             -- NULL = recorded as history, not mailed
  PRIMARY KEY (season, block, insect, event, person, revision)
) STRICT, WITHOUT ROWID;

CREATE TABLE job_run (
  -- The last run of each job for each civil day. What is owed and not done is run again.
  job         TEXT NOT NULL CHECK (job IN ('fetch', 'fetch-late', 'tell')),
  day         TEXT NOT NULL,                                   -- civil day in the farm's zone
  state       TEXT NOT NULL CHECK (state IN ('running', 'done', 'failed')),
  attempts    INTEGER NOT NULL,
  first_at    INTEGER NOT NULL,                                -- instant of the first attempt
  started_at  INTEGER NOT NULL,                                -- instant of the last attempt
  finished_at INTEGER,
  error       TEXT,
  PRIMARY KEY (job, day)
) STRICT, WITHOUT ROWID;
