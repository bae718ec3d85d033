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
