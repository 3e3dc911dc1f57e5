-- What sign-ins are checked against: hashes, never the things themselves. Beside
-- the log and not in it, since entries are exported and stay for ever. Written
-- without the lock of the shop's book: nothing else refers to it. made and
-- expires are milliseconds since 1970.
CREATE TABLE secret (
  shop    text COLLATE "C" NOT NULL,
  kind    text COLLATE "C" NOT NULL,
  id      text COLLATE "C" NOT NULL,
  holder  text NOT NULL, -- the person or token it stands for
  hash    bytea NOT NULL,
  made    bigint NOT NULL,
  expires bigint,
  PRIMARY KEY (shop, kind, id)
);
