-- The books of any number of shops. The shop leads every key, so that an engine
-- that distributes rows by it keeps a shop's book together. Names are plain
-- ASCII and compare by bytes. There are no foreign keys: every row is written
-- under the lock of its shop's row in book by one program, a check of each row
-- would cost as much again as writing it, and verifying reads everything.

-- The end of each shop's log. Whoever writes to a shop's book locks its row.
-- A row with seq 0 is a shop that nothing was recorded for.
CREATE TABLE book (
  shop     text COLLATE "C" PRIMARY KEY,
  seq      bigint NOT NULL CHECK (seq >= 0),
  hash     bytea CHECK (octet_length(hash) = 32),
  recorded timestamptz,
  CHECK ((seq = 0) = (hash IS NULL) AND (seq = 0) = (recorded IS NULL))
) WITH (fillfactor = 50);

-- The log: each entry's canonical bytes, the hash that chains it to the one
-- before, and the request id that made it.
CREATE TABLE entry (
  shop    text COLLATE "C" NOT NULL,
  seq     bigint NOT NULL CHECK (seq > 0),
  request uuid NOT NULL,
  hash    bytea NOT NULL CHECK (octet_length(hash) = 32),
  bytes   bytea NOT NULL,
  PRIMARY KEY (shop, seq),
  UNIQUE (shop, request)
);

-- Which entries are about a subject.
CREATE TABLE touch (
  shop    text COLLATE "C" NOT NULL,
  subject text COLLATE "C" NOT NULL,
  seq     bigint NOT NULL,
  PRIMARY KEY (shop, subject, seq)
);

-- The sum of each account's postings. holds is there for the index: one that
-- names mass would be written anew whenever a mass changes.
CREATE TABLE account (
  shop  text COLLATE "C" NOT NULL,
  kind  text COLLATE "C" NOT NULL,
  ref   text COLLATE "C" NOT NULL,
  mass  bigint NOT NULL,
  holds boolean NOT NULL CHECK (holds = (mass <> 0)),
  PRIMARY KEY (shop, kind, ref),
  CONSTRAINT never_below_zero CHECK (mass >= 0 OR kind NOT IN ('lot', 'casting', 'supply'))
) WITH (fillfactor = 80);

CREATE INDEX account_holding ON account (shop, kind, ref) WHERE holds;

-- The current record of each thing, and the entry that wrote it.
CREATE TABLE record (
  shop   text COLLATE "C" NOT NULL,
  kind   text COLLATE "C" NOT NULL,
  id     text COLLATE "C" NOT NULL,
  parent text COLLATE "C" NOT NULL,
  seq    bigint NOT NULL,
  body   bytea NOT NULL,
  PRIMARY KEY (shop, kind, id)
) WITH (fillfactor = 80);

CREATE INDEX record_of_parent ON record (shop, parent, kind, id) WHERE parent <> '';

-- How many records of a kind were ever made.
CREATE TABLE made (
  shop text COLLATE "C" NOT NULL,
  kind text COLLATE "C" NOT NULL,
  n    bigint NOT NULL CHECK (n > 0),
  PRIMARY KEY (shop, kind)
) WITH (fillfactor = 50);

-- Entries are never changed or deleted: record a new one that reverses them.
-- Not a trigger: an engine that distributes rows may refuse those.
REVOKE UPDATE, DELETE, TRUNCATE ON entry FROM PUBLIC, CURRENT_USER;
