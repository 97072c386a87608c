-- The shop files that held, each from its record on. It can be made again from the records.
CREATE TABLE shop_file (
    record INTEGER PRIMARY KEY,
    at     INTEGER NOT NULL,
    sha256 TEXT NOT NULL
) STRICT;
CREATE INDEX shop_file_by_at ON shop_file (at);
