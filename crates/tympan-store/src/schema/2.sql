-- Print runs. (Set-ups' records may now hold how the printer lays its pile, and the tray.)
CREATE TABLE run (
    number INTEGER PRIMARY KEY, -- the order in which they were made
    id     TEXT UNIQUE NOT NULL,
    setup  TEXT NOT NULL REFERENCES setup (id),
    record TEXT NOT NULL CHECK (json_valid(record)),
    state  TEXT GENERATED ALWAYS AS (record ->> '$.state') VIRTUAL,
    CHECK (id = record ->> '$.id'),
    CHECK (setup = record ->> '$.setup')
) STRICT;

CREATE INDEX run_by_setup ON run (setup, number);

ALTER TABLE event ADD COLUMN run TEXT;
