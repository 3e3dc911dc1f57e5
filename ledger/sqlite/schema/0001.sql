-- The books of any number of shops. The shop leads every key.

CREATE TABLE shop (
  id   INTEGER PRIMARY KEY CHECK (id > 0),
  name TEXT NOT NULL UNIQUE
) STRICT;

-- The log: each entry's canonical bytes and the hash that chains it to the one
-- before. Its key is shop << 40 | seq: one integer, so that a shop's entries lie
-- together and in order, and rows of some hundred bytes fill their pages.
CREATE TABLE entry (
  id    INTEGER PRIMARY KEY CHECK (id >> 40 > 0 AND id & 0xffffffffff > 0),
  hash  BLOB NOT NULL CHECK (length(hash) = 32),
  bytes BLOB NOT NULL
) STRICT;

CREATE TRIGGER entry_is_never_changed BEFORE UPDATE ON entry
BEGIN SELECT RAISE (ABORT, 'entries are never changed: record a new one that reverses this'); END;

CREATE TRIGGER entry_is_never_deleted BEFORE DELETE ON entry
BEGIN SELECT RAISE (ABORT, 'entries are never deleted: record a new one that reverses this'); END;

-- The entry that each request id made.
CREATE TABLE request (
  shop INTEGER NOT NULL REFERENCES shop (id),
  id   BLOB NOT NULL CHECK (length(id) = 16),
  seq  INTEGER NOT NULL,
  PRIMARY KEY (shop, id)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER request_is_never_changed BEFORE UPDATE ON request
BEGIN SELECT RAISE (ABORT, 'request ids stay with their entries'); END;

CREATE TRIGGER request_is_never_deleted BEFORE DELETE ON request
BEGIN SELECT RAISE (ABORT, 'request ids stay with their entries'); END;

-- Everything an entry may be about, by its name kind/id. mass is there for an
-- account: the sum of its postings; holds says that it is not zero. seq is there
-- for a record: the entry that wrote the current one. A record's body is not
-- stored twice: it is the size bytes at offset at (from 1) of that entry's
-- bytes. id is short for the name in touch, and there once an entry is about it.
CREATE TABLE name (
  shop   INTEGER NOT NULL REFERENCES shop (id),
  name   TEXT NOT NULL,
  id     INTEGER CHECK (id > 0),
  mass   INTEGER,
  holds  INTEGER NOT NULL CHECK (holds = (mass IS NOT NULL AND mass <> 0)),
  parent TEXT,
  seq    INTEGER,
  at     INTEGER,
  size   INTEGER CHECK ((seq IS NULL) = (at IS NULL) AND (seq IS NULL) = (size IS NULL)),
  PRIMARY KEY (shop, name),
  CONSTRAINT never_below_zero CHECK (mass >= 0 OR mass IS NULL OR
    NOT (name GLOB 'lot/*' OR name GLOB 'casting/*' OR name GLOB 'supply/*'))
) STRICT, WITHOUT ROWID;

-- On holds, not on mass: an index is rewritten whenever a column it names is.
CREATE INDEX name_holding ON name (shop, name) WHERE holds = 1;
CREATE INDEX name_of_parent ON name (shop, parent, name) WHERE parent IS NOT NULL;

-- Which entries are about a name.
CREATE TABLE touch (
  shop INTEGER NOT NULL REFERENCES shop (id),
  name INTEGER NOT NULL, -- name.id
  seq  INTEGER NOT NULL,
  PRIMARY KEY (shop, name, seq)
) STRICT, WITHOUT ROWID;

-- How many records of a kind were ever made.
CREATE TABLE made (
  shop INTEGER NOT NULL REFERENCES shop (id),
  kind TEXT NOT NULL,
  n    INTEGER NOT NULL CHECK (n > 0),
  PRIMARY KEY (shop, kind)
) STRICT, WITHOUT ROWID;
