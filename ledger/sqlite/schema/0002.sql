-- What sign-ins are checked against: hashes, never the things themselves. Beside
-- the log and not in it, since entries are exported and stay for ever. Nothing
-- else refers to it. made and expires are milliseconds since 1970.
CREATE TABLE secret (
  shop    TEXT NOT NULL,
  kind    TEXT NOT NULL,
  id      TEXT NOT NULL,
  holder  TEXT NOT NULL, -- the person or token it stands for
  hash    BLOB NOT NULL,
  made    INTEGER NOT NULL,
  expires INTEGER,
  PRIMARY KEY (shop, kind, id)
) STRICT, WITHOUT ROWID;
