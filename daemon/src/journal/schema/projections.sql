-- What the records say, arranged for those who ask. Everything here can be made again from the records.

CREATE TABLE pass (
    number   INTEGER PRIMARY KEY,
    record   INTEGER NOT NULL,
    assigned INTEGER,
    start_at INTEGER NOT NULL,
    station  TEXT NOT NULL,
    batch    INTEGER,
    verdict  TEXT,
    harm     TEXT
) STRICT;
CREATE INDEX pass_by_start ON pass (start_at);
CREATE INDEX pass_by_station ON pass (station, start_at);
CREATE INDEX pass_by_batch ON pass (batch, start_at, verdict, harm) WHERE batch IS NOT NULL;
CREATE INDEX pass_by_verdict ON pass (verdict, start_at);

CREATE TABLE batch (
    number  INTEGER PRIMARY KEY,
    record  INTEGER NOT NULL,
    station TEXT NOT NULL,
    opened  INTEGER NOT NULL,
    closed  INTEGER
) STRICT;
CREATE INDEX batch_open ON batch (number) WHERE closed IS NULL;
CREATE INDEX batch_by_opened ON batch (opened);

CREATE TABLE batch_note (
    record INTEGER PRIMARY KEY,
    batch  INTEGER NOT NULL
) STRICT;
CREATE INDEX batch_note_by_batch ON batch_note (batch);

CREATE TABLE hold (
    number  INTEGER PRIMARY KEY,
    record  INTEGER NOT NULL,
    station TEXT NOT NULL,
    batch   INTEGER,
    opened  INTEGER NOT NULL,
    settled INTEGER
) STRICT;
CREATE INDEX hold_open ON hold (number) WHERE settled IS NULL;
CREATE INDEX hold_by_opened ON hold (opened);
CREATE INDEX hold_by_batch ON hold (batch) WHERE batch IS NOT NULL;

CREATE TABLE hold_member (
    hold   INTEGER NOT NULL,
    pass   INTEGER NOT NULL,
    record INTEGER NOT NULL,
    PRIMARY KEY (hold, pass)
) STRICT, WITHOUT ROWID;
CREATE INDEX hold_member_by_pass ON hold_member (pass);

CREATE TABLE recipe (
    number  INTEGER PRIMARY KEY,
    record  INTEGER NOT NULL,
    station TEXT NOT NULL,
    ink     TEXT NOT NULL,
    fabric  TEXT NOT NULL,
    retired INTEGER
) STRICT;
CREATE INDEX recipe_in_force ON recipe (station, ink, fabric) WHERE retired IS NULL;

CREATE TABLE calibration (
    record INTEGER PRIMARY KEY,
    probe  TEXT NOT NULL
) STRICT;
CREATE INDEX calibration_by_probe ON calibration (probe, record);

CREATE TABLE event (
    record  INTEGER PRIMARY KEY,
    at      INTEGER NOT NULL,
    station TEXT,
    what    TEXT NOT NULL
) STRICT;
CREATE INDEX event_by_at ON event (at);
