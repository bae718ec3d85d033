-- Step 3: more kinds of field notes, eggs that were left on a trap, and records taken back.

CREATE TABLE note_of_step_3 (
  -- Field notes about a block or one of its varieties. One note a block, variety, kind and day.
  block       TEXT NOT NULL,                                   -- id in blocks.csv
  variety     TEXT NOT NULL,                                   -- '' where it is about the whole block
  kind        TEXT NOT NULL,                                   -- a word of the guide's list of notes
  day         TEXT NOT NULL CHECK (day GLOB '????-??-??'),     -- civil day it was seen or decided
  value       TEXT CHECK (value IS NULL OR json_valid(value)), -- what the kind carries, as JSON; NULL = nothing
  note        TEXT NOT NULL,                                   -- such as the reason of a start set by hand
  entered_at  INTEGER NOT NULL,
  entered_by  TEXT NOT NULL,
  via         TEXT NOT NULL,
  entry_id    TEXT NOT NULL UNIQUE,
  PRIMARY KEY (block, variety, kind, day)
) STRICT, WITHOUT ROWID;
INSERT INTO note_of_step_3
  SELECT block, variety, kind, day, json_quote(value), note, entered_at, entered_by, via, entry_id FROM note
  WHERE value IS NOT NULL;
INSERT INTO note_of_step_3 SELECT * FROM note WHERE value IS NULL;
DROP TABLE note;
ALTER TABLE note_of_step_3 RENAME TO note;
UPDATE note_history SET value = json_quote(value) WHERE value IS NOT NULL;

ALTER TABLE visit ADD COLUMN eggs_left INTEGER NOT NULL DEFAULT 0 CHECK (eggs_left IN (0, 1)); -- 1 = the eggs stayed on the trap
ALTER TABLE visit_history ADD COLUMN eggs_left INTEGER NOT NULL DEFAULT 0;

ALTER TABLE visit_history ADD COLUMN replaced_by TEXT;         -- who changed or withdrew it; NULL = before this step
ALTER TABLE visit_history ADD COLUMN why TEXT;                 -- why it was withdrawn; NULL = it was changed
ALTER TABLE note_history ADD COLUMN replaced_by TEXT;
ALTER TABLE note_history ADD COLUMN why TEXT;

CREATE TABLE imported_file (
  -- Files that were imported, each of them whole. Imported again, they bring nothing back that was
  -- changed or withdrawn since.
  hash        TEXT PRIMARY KEY,                                -- of its text; the entry ids of its rows begin with it
  imported_at INTEGER NOT NULL                                 -- instant of the first import
) STRICT, WITHOUT ROWID;
INSERT INTO imported_file
  SELECT substr(entry_id, 1, instr(entry_id, ':') - 1), min(entered_at) FROM (
    SELECT entry_id, entered_at FROM visit UNION ALL SELECT entry_id, entered_at FROM visit_history
    UNION ALL SELECT entry_id, entered_at FROM note UNION ALL SELECT entry_id, entered_at FROM note_history
  ) WHERE instr(entry_id, ':') > 0 GROUP BY 1;
