-- What an unattended box needs to know of itself.

CREATE TABLE accepted_records (
  -- That what is missing in these records is lost: mails that left before rest on more, and are no question any more.
  id          INTEGER PRIMARY KEY CHECK (id = 1),
  at          INTEGER NOT NULL,                                -- instant up to which it is accepted
  by          TEXT NOT NULL                                    -- who accepted it; '' = mails of versions before this step
) STRICT;
-- A journal of versions before does not say how much was entered; what they left is theirs to answer for.
INSERT INTO accepted_records SELECT 1, max(sent_at), '' FROM outbox WHERE state = 'sent' HAVING max(sent_at) IS NOT NULL;

CREATE TABLE told_of_step_7 (
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
  -- What a telling was; 'nearer' = told again as it came near, 'found-again' = withdrawn before, and holds after all.
  change      TEXT NOT NULL
              CHECK (change IN ('new', 'history', 'nearer', 'corrected', 'withdrawn', 'found-again')),
  step        INTEGER NOT NULL,                                -- how near it was: 1 = at the first distance, 2 = at the second
  PRIMARY KEY (season, block, insect, event, person, revision)
) STRICT, WITHOUT ROWID;
INSERT INTO told_of_step_7 SELECT season, block, insect, event, person, revision, value, day, mail, change, step FROM told;
DROP TABLE told;
ALTER TABLE told_of_step_7 RENAME TO told;
CREATE INDEX told_by_mail ON told (mail);
-- The outbox knows mails of which nobody knows whether they were taken. New states need no new table any longer.
PRAGMA defer_foreign_keys = ON;
CREATE TEMP TABLE outbox_of_step_6 AS SELECT * FROM outbox;
DROP TABLE outbox;
CREATE TABLE outbox (
  -- Mails, written with their cause in one transaction and sent afterwards. Their bytes, in mail_content, are frozen
  -- but for a line that an adviser adds to an alert before it is first tried.
  place       INTEGER PRIMARY KEY,                             -- in the order of queueing
  message_id  TEXT NOT NULL UNIQUE,                            -- Message-ID header, set once, kept on every try
  kind        TEXT NOT NULL,                                   -- a word such as digest or alert
  person      TEXT NOT NULL,                                   -- recipient's id in duskflight.toml
  adviser     TEXT NOT NULL,                                   -- the adviser whose blocks it is about; '' = of several
  day         TEXT NOT NULL,                                   -- civil day of telling
  about       TEXT NOT NULL,                                   -- id of what it is about beside these; '' = nothing else
  address     TEXT NOT NULL,                                   -- recipient's address that day
  subject     TEXT NOT NULL,
  queued_at   INTEGER NOT NULL,
  composed    INTEGER NOT NULL CHECK (composed IN (0, 1)),     -- 1 = its bytes were made
  hold_s      INTEGER NOT NULL CHECK (hold_s >= 0),            -- seconds to wait after the digests it waits for were sent
  held_at     INTEGER,                                         -- instant since which an adviser holds it; NULL = not held
  held_by     TEXT,                                            -- who holds it
  released_at INTEGER,                                         -- instant since which it waits for nothing; NULL = not let go
  released_by TEXT,                                            -- who let it go
  touched     INTEGER NOT NULL CHECK (touched IN (0, 1)),      -- 1 = an adviser did something to what it says
  state       TEXT NOT NULL,                                   -- queued, sent, failed = refused, expired = given up after days,
                                                               -- folded = a later mail tells it, unknown = given up and perhaps taken
  attempts    INTEGER NOT NULL,                                -- counted before each try
  refusals    INTEGER NOT NULL,                                -- tries refused without a clear reason
  doubtful    INTEGER NOT NULL CHECK (doubtful IN (0, 1)),     -- 1 = a try may have been taken without our hearing of it
  first_try_at INTEGER,                                        -- instant of the first try
  next_try_at INTEGER NOT NULL,                                -- not tried before this instant
  last_error  TEXT,                                            -- why the last try failed; no address, no secret
  sent_at     INTEGER,                                         -- instant the transport took it over
  answer      TEXT,                                            -- the words with which it was taken over
  given_up_at INTEGER,                                         -- instant it became failed, expired, folded or unknown
  unknown_since INTEGER,                                       -- instant at which we first learnt that a try may have been taken
                                                               -- and gave up waiting for the word on it; NULL = no such try
  CHECK (held_at IS NULL OR released_at IS NULL)
) STRICT;
INSERT INTO outbox SELECT *, NULL FROM outbox_of_step_6 ORDER BY place;
DROP TABLE outbox_of_step_6;
-- Of equal kind, person, adviser, day and about there is one mail; a test can be made as often as one likes.
CREATE UNIQUE INDEX outbox_once ON outbox (kind, person, adviser, day, about) WHERE kind != 'test';
CREATE INDEX outbox_by_state ON outbox (state, sent_at);
CREATE INDEX outbox_by_person ON outbox (person, day);
CREATE INDEX outbox_by_day ON outbox (day);

CREATE TABLE alarm (
  -- What fails again and again, until it works: whoever looks after the box is told once of each, and once when it is over.
  matter      TEXT PRIMARY KEY,                                -- 'station ' and its id, or the word of a job
  since       INTEGER NOT NULL,                                -- instant of the first failure in a row
  failures    INTEGER NOT NULL,                                -- failures in a row
  occasion    TEXT NOT NULL,                                   -- on what it failed last, such as a civil day, which counts once
  told        INTEGER NOT NULL CHECK (told IN (0, 1))          -- 1 = it was told
) STRICT, WITHOUT ROWID;

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

CREATE TABLE set_aside (
  -- What was stored under a clock that was ahead, once it is known: as it stood, out of every other table.
  id          INTEGER PRIMARY KEY,
  at          INTEGER NOT NULL,                                -- instant at which it was set aside
  record      TEXT NOT NULL,                                   -- the table it stood in
  content     TEXT NOT NULL CHECK (json_valid(content))        -- its row by columns, without bytes
) STRICT;

CREATE TABLE clock_doubt (
  -- That the machine's clock is not believed just now, and nothing is stored or told by it. No row: it is.
  id          INTEGER PRIMARY KEY CHECK (id = 1),
  since       INTEGER NOT NULL,                                -- instant, by that clock
  why         TEXT NOT NULL                                    -- in words for people
) STRICT;
