-- Step 9: what a server that sends a whole record each time calls the version that it sent.

CREATE TABLE feed_version (
  -- Only of the newest answer, and only where that was well: it saves asking for the same again, and may be missing.
  station       TEXT PRIMARY KEY,                              -- id in the configuration
  question      TEXT NOT NULL,                                 -- hash of what was asked and how it is read
  etag          TEXT,                                          -- as the server wrote it
  last_modified TEXT                                           -- as the server wrote it
) STRICT, WITHOUT ROWID;
