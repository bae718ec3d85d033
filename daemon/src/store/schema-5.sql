-- Step 5: the outbox keeps small columns for good, and what a mail says stands apart, so that no walk of the
-- outbox reads mails and they can be pruned; a mail is about something beside its adviser; new kinds of mails
-- and jobs need no new table.

PRAGMA defer_foreign_keys = ON;

CREATE TABLE mail_content (
  -- What a mail says. Pruned some time after the mail was accepted or given up.
  message_id  TEXT PRIMARY KEY REFERENCES outbox (message_id),
  contents    TEXT CHECK (contents IS NULL OR json_valid(contents)), -- what it is composed from; NULL = cannot be composed anew
  body        BLOB                                             -- the whole message, headers included; NULL = not composed yet
) STRICT;
INSERT INTO mail_content SELECT message_id, contents, body FROM outbox WHERE length(body) > 0 ORDER BY rowid;

-- A mail that goes away is looked for in the tables that name it.
CREATE INDEX told_by_mail ON told (mail);
CREATE INDEX outbox_wait_by_digest ON outbox_wait (digest);

CREATE TEMP TABLE outbox_of_step_4 AS
  SELECT rowid AS place, message_id, kind, person, adviser, day, address, subject, queued_at, hold_s, held_at, held_by,
    coalesce(json_array_length(contents, '$.acts'), 0) > 0 AS touched, state, attempts, refusals, doubtful,
    first_try_at, next_try_at, last_error, sent_at, answer, given_up_at
  FROM outbox;
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
  state       TEXT NOT NULL                                    -- failed = refused, expired = given up after days,
              CHECK (state IN ('queued', 'sent', 'failed', 'expired', 'folded')), -- folded = a later mail tells it
  attempts    INTEGER NOT NULL,                                -- counted before each try
  refusals    INTEGER NOT NULL,                                -- tries refused without a clear reason
  doubtful    INTEGER NOT NULL CHECK (doubtful IN (0, 1)),     -- 1 = a try may have been taken without our hearing of it
  first_try_at INTEGER,                                        -- instant of the first try
  next_try_at INTEGER NOT NULL,                                -- not tried before this instant
  last_error  TEXT,                                            -- why the last try failed; no address, no secret
  sent_at     INTEGER,                                         -- instant the transport took it over
  answer      TEXT,                                            -- the words with which it was taken over
  given_up_at INTEGER,                                         -- instant it became failed, expired or folded
  CHECK (held_at IS NULL OR released_at IS NULL)
) STRICT;
-- Whoever let a mail go before this step was noted without the instant; its hold was overwritten.
INSERT INTO outbox
  SELECT place, message_id, kind, person, adviser, day, '', address, subject, queued_at, 1, max(hold_s, 0), held_at,
    iif(held_at IS NULL, NULL, held_by),
    iif(held_at IS NULL AND held_by IS NOT NULL, queued_at, NULL), iif(held_at IS NULL, held_by, NULL),
    touched, state, attempts, refusals, doubtful, first_try_at, next_try_at, last_error, sent_at, answer, given_up_at
  FROM outbox_of_step_4 ORDER BY place;
DROP TABLE outbox_of_step_4;
-- Of equal kind, person, adviser, day and about there is one mail; a test can be made as often as one likes.
CREATE UNIQUE INDEX outbox_once ON outbox (kind, person, adviser, day, about) WHERE kind != 'test';
CREATE INDEX outbox_by_state ON outbox (state, sent_at);
CREATE INDEX outbox_by_person ON outbox (person, day);
CREATE INDEX outbox_by_day ON outbox (day);

CREATE TABLE job_run_of_step_5 (
  -- The last run of each job for each civil day. What is owed and not done is run again.
  job         TEXT NOT NULL,                                   -- a word such as fetch or tell
  day         TEXT NOT NULL,                                   -- civil day in the farm's zone
  state       TEXT NOT NULL CHECK (state IN ('running', 'done', 'failed')),
  attempts    INTEGER NOT NULL,
  first_at    INTEGER NOT NULL,                                -- instant of the first attempt
  started_at  INTEGER NOT NULL,                                -- instant of the last attempt
  finished_at INTEGER,
  error       TEXT,
  PRIMARY KEY (job, day)
) STRICT, WITHOUT ROWID;
INSERT INTO job_run_of_step_5 SELECT * FROM job_run;
DROP TABLE job_run;
ALTER TABLE job_run_of_step_5 RENAME TO job_run;

CREATE INDEX fetch_log_by_time ON fetch_log (at);
