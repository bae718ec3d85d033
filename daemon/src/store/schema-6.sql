-- Step 6: what the estimate of an egg-laying start came to once it stood still, so that a night works out only those
-- that may still move. It can be worked out again at any time: what it rests on has a fingerprint.

CREATE TABLE kept_start (
  insect      TEXT NOT NULL,                                   -- id in its file
  start_group TEXT NOT NULL,                                   -- id of the egg-trap group
  season      INTEGER NOT NULL,                                -- year
  kept        TEXT NOT NULL CHECK (json_valid(kept)),          -- estimate, confirmations and fingerprint
  PRIMARY KEY (insect, start_group)                            -- of one season: the next one's takes its place
) STRICT, WITHOUT ROWID;
