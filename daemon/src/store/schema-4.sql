-- Step 4: growers' alerts can be held, mails that wait fold into later ones, mails wait for several
-- digests, and the ledger says what each telling was.

PRAGMA defer_foreign_keys = ON;

CREATE TABLE outbox_wait (
  -- Digests that must be sent before a mail.
  mail        TEXT NOT NULL REFERENCES outbox (message_id),
  digest      TEXT NOT NULL REFERENCES outbox (message_id),
  PRIMARY KEY (mail, digest)
) STRICT, WITHOUT ROWID;
INSERT INTO outbox_wait SELECT message_id, waits_for FROM outbox WHERE waits_for IS NOT NULL;

CREATE TEMP TABLE outbox_of_step_3 AS SELECT rowid AS place, * FROM outbox;
DROP TABLE outbox;
CREATE TABLE outbox (
  -- Mails, written with their cause in one transaction and sent afterwards. The bytes are frozen, but
  -- for a line that an adviser adds to an alert before it is first tried.
  message_id  TEXT PRIMARY KEY,                                -- Message-ID header, set once, kept on every try
  kind        TEXT NOT NULL CHECK (kind IN ('digest', 'alert', 'letter', 'summary', 'test')),
  person      TEXT NOT NULL,                                   -- recipient's id in duskflight.toml
  adviser     TEXT NOT NULL,                                   -- the adviser whose blocks it is about; '' = of several
  day         TEXT NOT NULL,                                   -- civil day of telling
  address     TEXT NOT NULL,                                   -- recipient's address that day
  subject     TEXT NOT NULL,
  body        BLOB NOT NULL,                                   -- the whole message, headers included
  contents    TEXT CHECK (contents IS NULL OR json_valid(contents)), -- what an alert is composed from; NULL = cannot be composed anew
  queued_at   INTEGER NOT NULL,
  hold_s      INTEGER NOT NULL,                                -- seconds to wait after the digests it waits for were sent
  held_at     INTEGER,                                         -- instant since which an adviser holds it; NULL = not held
  held_by     TEXT,                                            -- who holds it, or who let it go
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
  given_up_at INTEGER                                          -- instant it became failed, expired or folded
) STRICT;
INSERT INTO outbox (rowid, message_id, kind, person, adviser, day, address, subject, body, queued_at, hold_s,
    state, attempts, refusals, doubtful, first_try_at, next_try_at, last_error, sent_at, answer, given_up_at)
  SELECT place, message_id, kind, person, adviser, day, address, subject, body, queued_at, hold_s,
    state, attempts, refusals, state = 'queued' AND attempts > 0, first_try_at, next_try_at, last_error, sent_at,
    answer, given_up_at
  FROM outbox_of_step_3 ORDER BY place;
DROP TABLE outbox_of_step_3;
-- One mail a day of each kind, person and adviser; a test can be made as often as one likes.
CREATE UNIQUE INDEX outbox_once_a_day ON outbox (kind, person, adviser, day) WHERE kind != 'test';
CREATE INDEX outbox_by_state ON outbox (state, person, queued_at);

-- What a telling was; 'nearer' = told again as it came near.
ALTER TABLE told ADD COLUMN change TEXT NOT NULL DEFAULT 'new'
  CHECK (change IN ('new', 'history', 'nearer', 'corrected', 'withdrawn'));
ALTER TABLE told ADD COLUMN step INTEGER NOT NULL DEFAULT 1;   -- how near it was: 1 = at the first distance, 2 = at the second
UPDATE told SET change = CASE
  WHEN value IS NULL THEN 'withdrawn'
  WHEN mail IS NULL THEN 'history'
  WHEN revision = 1 THEN 'new'
  WHEN (SELECT before.value FROM told AS before
        WHERE before.season = told.season AND before.block = told.block AND before.insect = told.insect
          AND before.event = told.event AND before.person = told.person
          AND before.revision = told.revision - 1) IS NULL THEN 'new'
  ELSE 'corrected' END;
