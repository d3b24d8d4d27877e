-- Version 1 of the store. Times are integer ms since 1970 UTC; values are SI.

CREATE TABLE series (
    id       INTEGER PRIMARY KEY,
    sensor   TEXT NOT NULL,
    quantity TEXT NOT NULL,
    UNIQUE (sensor, quantity)
) STRICT;

-- Append-only, in the order of arrival: seq is the cursor of rules and forwarders, counted together with that of
-- reject. Rows leave it only by compaction. No index beside seq: a second tree would cost an SD card more than all
-- the rest.
CREATE TABLE inbox (
    seq         INTEGER PRIMARY KEY AUTOINCREMENT,
    series      INTEGER NOT NULL REFERENCES series (id),
    t_ms        INTEGER NOT NULL,
    value       REAL NOT NULL,
    flags       INTEGER NOT NULL,
    received_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE reading (
    series INTEGER NOT NULL REFERENCES series (id),
    t_ms   INTEGER NOT NULL,
    value  REAL NOT NULL,
    flags  INTEGER NOT NULL,
    PRIMARY KEY (series, t_ms)
) STRICT, WITHOUT ROWID;

-- Exact summaries: recomputed from what lies below whenever a late reading makes a bucket dirty.
CREATE TABLE rollup (
    width_ms INTEGER NOT NULL,
    series   INTEGER NOT NULL REFERENCES series (id),
    t_ms     INTEGER NOT NULL,
    count    INTEGER NOT NULL,
    sum      REAL NOT NULL,
    min      REAL NOT NULL,
    min_ms   INTEGER NOT NULL,
    max      REAL NOT NULL,
    max_ms   INTEGER NOT NULL,
    first    REAL NOT NULL,
    first_ms INTEGER NOT NULL,
    last     REAL NOT NULL,
    last_ms  INTEGER NOT NULL,
    PRIMARY KEY (width_ms, series, t_ms)
) STRICT, WITHOUT ROWID;

-- A second value for a time already known: the first is kept, the second is remembered here.
CREATE TABLE conflict (
    received_ms INTEGER NOT NULL,
    series      INTEGER NOT NULL REFERENCES series (id),
    t_ms        INTEGER NOT NULL,
    kept        REAL NOT NULL,
    refused     REAL NOT NULL
) STRICT;

-- What was refused. Its seq is drawn from the same count as that of inbox, so that readings and rejects are folded
-- in the order they came in, whatever the batches. sensor: NULL where it is not about one.
CREATE TABLE reject (
    seq         INTEGER PRIMARY KEY AUTOINCREMENT,
    received_ms INTEGER NOT NULL,
    topic       TEXT NOT NULL,
    payload     BLOB NOT NULL,
    reason      TEXT NOT NULL,
    kind        TEXT NOT NULL,
    sensor      TEXT
) STRICT;
CREATE INDEX reject_by_arrival ON reject (received_ms);

-- What people ask for (acknowledge, shelve, write in the log), in the order of arrival.
CREATE TABLE request (
    seq         INTEGER PRIMARY KEY AUTOINCREMENT,
    id          TEXT NOT NULL UNIQUE,
    received_ms INTEGER NOT NULL,
    body        BLOB NOT NULL
) STRICT;

-- The messages last committed, in the order of receipt: a redelivered one keeps its first time of arrival, so that
-- a value stamped on arrival is still stored once. A ring, since only a window of them can come again: place is
-- number modulo its size.
CREATE TABLE arrival (
    place       INTEGER PRIMARY KEY,
    number      INTEGER NOT NULL,
    mid         INTEGER NOT NULL,
    checksum    INTEGER NOT NULL,
    received_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE alert (
    key  TEXT PRIMARY KEY,
    body TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE transition (
    id       INTEGER PRIMARY KEY,
    key      TEXT NOT NULL,
    episode  INTEGER NOT NULL,
    at_ms    INTEGER NOT NULL,
    cause    TEXT NOT NULL,
    state    TEXT NOT NULL,
    priority TEXT NOT NULL,
    sentence TEXT NOT NULL,
    by       TEXT
) STRICT;
CREATE INDEX transition_by_time ON transition (at_ms);

-- Texts to be handed over. A row is written with the transition that asks for it, marked after it was sent.
-- also: JSON list of the other alerts it tells of. code: what to answer it with. spared: another text says it.
CREATE TABLE outbox (
    id         INTEGER PRIMARY KEY,
    key        TEXT NOT NULL,
    event      TEXT NOT NULL,
    contact    TEXT NOT NULL,
    channel    TEXT NOT NULL,
    body       TEXT NOT NULL,
    long_body  TEXT NOT NULL,
    priority   TEXT NOT NULL,
    also       TEXT NOT NULL,
    code       TEXT NOT NULL,
    fallback   INTEGER NOT NULL,
    created_ms INTEGER NOT NULL,
    due_ms     INTEGER NOT NULL,
    attempts   INTEGER NOT NULL DEFAULT 0,
    state      TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'sent', 'spared', 'expired', 'refused')),
    sent_ms    INTEGER,
    error      TEXT,
    UNIQUE (key, event, contact, channel)
) STRICT;
CREATE INDEX outbox_waiting ON outbox (due_ms) WHERE state = 'waiting';
CREATE INDEX outbox_by_code ON outbox (code) WHERE code <> '';

-- The evaluator's memory and the cursors it was computed from; one row.
CREATE TABLE watch (
    one            INTEGER PRIMARY KEY CHECK (one = 1),
    cursor         INTEGER NOT NULL,
    request_cursor INTEGER NOT NULL,
    at_ms          INTEGER NOT NULL,
    picture        BLOB NOT NULL,
    alerting       BLOB NOT NULL
) STRICT;

CREATE TABLE health (
    name  TEXT PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
