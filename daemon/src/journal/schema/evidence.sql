-- Records are written once; their hashes form a chain.
CREATE TABLE record (
    number        INTEGER PRIMARY KEY,
    commit_number INTEGER NOT NULL,
    at            INTEGER NOT NULL,
    kind          TEXT NOT NULL,
    body          TEXT NOT NULL,
    hash          BLOB NOT NULL
) STRICT;
CREATE INDEX record_by_commit ON record (commit_number);
CREATE INDEX record_by_at ON record (at);
CREATE INDEX record_by_kind ON record (kind, at);

-- The last link of each chain (record, stretch), apart from it, so that a missing end is seen.
CREATE TABLE head (
    chain  TEXT PRIMARY KEY,
    number INTEGER NOT NULL,
    hash   BLOB NOT NULL
) STRICT, WITHOUT ROWID;
