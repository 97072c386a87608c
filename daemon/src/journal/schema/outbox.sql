-- How far each way out has come. Nothing of it is evidence: what is sent lies in the records and readings.
CREATE TABLE outbox (
    sink          TEXT PRIMARY KEY,
    kind          TEXT NOT NULL,
    -- The last record that is settled: taken by the other side, or set aside.
    record        INTEGER NOT NULL,
    -- The last commit whose readings are settled.
    commit_number INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- What the other side refused for good, and why.
CREATE TABLE set_aside (
    number INTEGER PRIMARY KEY,
    sink   TEXT NOT NULL,
    at     INTEGER NOT NULL,
    -- The record; NULL for readings.
    record INTEGER,
    why    TEXT NOT NULL
) STRICT;
CREATE INDEX set_aside_by_sink ON set_aside (sink, number);
