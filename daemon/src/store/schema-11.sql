-- Step 11: who may come in at the page.

CREATE TABLE page_password (
  -- The password by which somebody signs in at the page.
  person       TEXT PRIMARY KEY,                               -- id in duskflight.toml
  hash         TEXT NOT NULL,                                  -- argon2id with its salt and costs (PHC string)
  set_at       INTEGER NOT NULL,                               -- instant it was set
  signed_in_at INTEGER                                         -- instant of the newest sign-in by it; NULL = none
) STRICT, WITHOUT ROWID;

CREATE TABLE page_code (
  -- A code with which somebody sets a password: one a person, gone once it was used. The newest takes the place of the
  -- one before.
  person       TEXT PRIMARY KEY,                               -- id in duskflight.toml
  hash         BLOB NOT NULL CHECK (length(hash) = 32),        -- SHA-256 of the code, which is random
  made_at      INTEGER NOT NULL                                -- instant since which it is good, for a day
) STRICT, WITHOUT ROWID;

CREATE TABLE page_session (
  -- Whoever has signed in, on one browser. An ended one has no row.
  hash         BLOB PRIMARY KEY CHECK (length(hash) = 32),     -- SHA-256 of the random token that the browser keeps
  person       TEXT NOT NULL,                                  -- id in duskflight.toml
  begun_at     INTEGER NOT NULL,                               -- instant of the sign-in
  used_at      INTEGER NOT NULL                                -- instant of a use, the newest to within an hour
) STRICT, WITHOUT ROWID;
CREATE INDEX page_session_by_person ON page_session (person);

CREATE TABLE page_form (
  -- Forms with readings that were sent, each once however often it arrives.
  id          TEXT PRIMARY KEY,                                -- short name of its mark and content; begins its entry ids
  person      TEXT NOT NULL,                                   -- id in duskflight.toml
  at          INTEGER NOT NULL                                 -- instant it was taken
) STRICT, WITHOUT ROWID;
