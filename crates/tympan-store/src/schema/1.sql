PRAGMA application_id = 1415138640; -- TYMP

CREATE TABLE setup (
    id       TEXT PRIMARY KEY NOT NULL,
    -- The name in lower case: SQLite's own folding knows ASCII only.
    name_key TEXT NOT NULL,
    record   TEXT NOT NULL CHECK (json_valid(record)),
    removed  TEXT GENERATED ALWAYS AS (record ->> '$.removed') VIRTUAL,
    CHECK (id = record ->> '$.id')
) STRICT;

-- The name of a removed set-up is free again.
CREATE UNIQUE INDEX setup_by_name ON setup (name_key) WHERE removed IS NULL;

CREATE TABLE reading (
    number    INTEGER PRIMARY KEY, -- the order in which they came in
    id        TEXT UNIQUE NOT NULL,
    setup     TEXT NOT NULL REFERENCES setup (id),
    record    TEXT NOT NULL CHECK (json_valid(record)),
    sheet     INTEGER GENERATED ALWAYS AS (record ->> '$.sheet') VIRTUAL,
    run       TEXT GENERATED ALWAYS AS (record ->> '$.run') VIRTUAL,
    set_aside TEXT GENERATED ALWAYS AS (record ->> '$.set_aside.at') VIRTUAL,
    CHECK (id = record ->> '$.id'),
    CHECK (setup = record ->> '$.setup')
) STRICT;

CREATE INDEX reading_by_setup ON reading (setup, number);

-- What happened. Refers to records by id only, as it outlives them.
CREATE TABLE event (
    number  INTEGER PRIMARY KEY,
    at      TEXT NOT NULL,
    setup   TEXT NOT NULL,
    reading TEXT,
    what    TEXT NOT NULL,
    before  TEXT CHECK (before IS NULL OR json_valid(before)) -- the record as it was
) STRICT;

CREATE INDEX event_by_setup ON event (setup, number);
