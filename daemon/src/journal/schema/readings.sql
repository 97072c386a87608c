-- Every time is the daemon's steady time in microseconds.

CREATE TABLE source (
    number INTEGER PRIMARY KEY,
    id     TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE channel (
    number INTEGER PRIMARY KEY,
    source INTEGER NOT NULL,
    name   TEXT NOT NULL,
    UNIQUE (source, name)
) STRICT;

-- What devices said in place of numbers.
CREATE TABLE word (
    number INTEGER PRIMARY KEY,
    word   TEXT NOT NULL UNIQUE
) STRICT;

-- The readings of one commit, of all channels, in the order in which they were fed. Those of commits that
-- the last stretch covers lie in its blocks as well and wait here for being deleted.
CREATE TABLE recent (
    number   INTEGER PRIMARY KEY,
    first_at INTEGER NOT NULL,
    last_at  INTEGER NOT NULL,
    readings INTEGER NOT NULL,
    bytes    BLOB NOT NULL
) STRICT;

-- The readings of several commits in a row, packed by channel. A stretch stays when its readings have been
-- forgotten; its hash is made over the hash before.
CREATE TABLE stretch (
    number       INTEGER PRIMARY KEY,
    first_commit INTEGER NOT NULL,
    last_commit  INTEGER NOT NULL,
    first_at     INTEGER NOT NULL,
    last_at      INTEGER NOT NULL,
    readings     INTEGER NOT NULL,
    packed       INTEGER NOT NULL,
    digest       BLOB NOT NULL,
    hash         BLOB NOT NULL,
    forgotten    INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX stretch_kept ON stretch (number) WHERE forgotten = 0;

-- Packed times. Channels that were read at the same times share them.
CREATE TABLE stamps (
    number  INTEGER PRIMARY KEY,
    stretch INTEGER NOT NULL,
    bytes   BLOB NOT NULL
) STRICT;
CREATE INDEX stamps_by_stretch ON stamps (stretch);

-- What a channel showed at those times.
CREATE TABLE block (
    number   INTEGER PRIMARY KEY,
    stretch  INTEGER NOT NULL,
    channel  INTEGER NOT NULL,
    stamps   INTEGER NOT NULL,
    readings INTEGER NOT NULL,
    first_at INTEGER NOT NULL,
    last_at  INTEGER NOT NULL,
    bytes    BLOB NOT NULL
) STRICT;
CREATE INDEX block_by_channel ON block (channel, number, first_at, last_at);
CREATE INDEX block_by_stretch ON block (stretch);

-- By what a message that is delivered again is known.
CREATE TABLE mark (
    source        INTEGER NOT NULL,
    packet        INTEGER NOT NULL,
    digest        BLOB NOT NULL,
    commit_number INTEGER NOT NULL,
    PRIMARY KEY (source, packet)
) STRICT, WITHOUT ROWID;

-- The engine as it stood after a commit.
CREATE TABLE checkpoint (
    id            INTEGER PRIMARY KEY CHECK (id = 1),
    commit_number INTEGER NOT NULL,
    bytes         BLOB NOT NULL
) STRICT;
