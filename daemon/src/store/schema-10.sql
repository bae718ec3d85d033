-- Step 10: answers to our mails.

CREATE TABLE mark_key (
  -- What the part of our mails that cannot be guessed is made with. An older copy put back has the same.
  id          INTEGER PRIMARY KEY CHECK (id = 1),
  key         BLOB NOT NULL                                    -- 32 bytes
) STRICT;
INSERT INTO mark_key VALUES (1, randomblob(32));

CREATE TABLE answer (
  -- Answers that counted, each once, whatever mailbox it is found in again.
  place       INTEGER PRIMARY KEY,                             -- in the order of taking
  id          TEXT NOT NULL UNIQUE,                            -- short name of its Message-ID and sender; begins its entry ids
  message_id  TEXT,                                            -- as its sender's program wrote it; NULL = none that is usable
  person      TEXT NOT NULL,                                   -- id in duskflight.toml
  kind        TEXT NOT NULL,                                   -- of the mail that it answers
  day         TEXT NOT NULL,                                   -- civil day of that mail
  which       TEXT NOT NULL,                                   -- which one of that kind and day
  sent_on     TEXT NOT NULL,                                   -- civil day on which it was sent, in the farm's zone
  taken_at    INTEGER NOT NULL,                                -- instant it was taken
  asked       TEXT CHECK (json_valid(asked)),                  -- lines that wait for a word, with what they say; NULL = none
  said        TEXT CHECK (json_valid(said)),                   -- what its receipt says; NULL = it has or wants none
  receipt     TEXT,                                            -- short name of its receipt, which may stand for several
  undone_at   INTEGER                                          -- instant it was taken back
) STRICT;
CREATE INDEX answer_by_person ON answer (person, day);

CREATE TABLE inbox_place (
  -- How far each folder of a mailbox was looked through.
  folder      TEXT PRIMARY KEY,                                -- account and folder
  validity    INTEGER NOT NULL,                                -- its UIDVALIDITY
  uid         INTEGER NOT NULL                                 -- highest UID that was taken or left alone
) STRICT, WITHOUT ROWID;

CREATE TABLE message_left (
  -- Messages that were no answers and were left where they are; counted in the digest of the day after.
  id          TEXT PRIMARY KEY,                                -- short name of the message
  day         TEXT NOT NULL,                                   -- civil day on which it was seen
  why         TEXT NOT NULL                                    -- a word
) STRICT, WITHOUT ROWID;
