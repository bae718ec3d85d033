-- Step 8: what came in since another night is found without going through all years, and starts of earlier seasons are kept.

CREATE INDEX station_day_by_receipt ON station_day (station, received_at);
CREATE INDEX visit_by_entry ON visit (entered_at);
CREATE INDEX visit_history_by_change ON visit_history (replaced_at);

CREATE TABLE kept_start_of_step_8 (
  -- What estimates of egg-laying starts came to once they stand still. It can always be worked out again, only
  -- slower: a row that cannot be read, or rests on something else than what is known now, is worked out anew.
  insect      TEXT NOT NULL,                                   -- id in its file
  start_group TEXT NOT NULL,                                   -- id of the egg-trap group
  season      INTEGER NOT NULL,                                -- year
  kept        TEXT NOT NULL CHECK (json_valid(kept)),          -- estimate, confirmations and fingerprint
  PRIMARY KEY (insect, season, start_group)                    -- earlier seasons are looked at beside this one
) STRICT, WITHOUT ROWID;
INSERT INTO kept_start_of_step_8 SELECT insect, start_group, season, kept FROM kept_start;
DROP TABLE kept_start;
ALTER TABLE kept_start_of_step_8 RENAME TO kept_start;
