-- How each alarm stands, by what was recorded of it last. It can be made again from the records.
CREATE TABLE alarm (
    id      TEXT PRIMARY KEY,
    record  INTEGER NOT NULL,
    state   TEXT NOT NULL,
    station TEXT
) STRICT;
CREATE INDEX alarm_not_normal ON alarm (id) WHERE state <> 'normal';
