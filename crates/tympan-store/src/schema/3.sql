-- Where the witness marks of production sheets are, by the code that these carry.
CREATE TABLE witness (
    number INTEGER PRIMARY KEY, -- the order in which they were made
    code   TEXT UNIQUE NOT NULL,
    setup  TEXT NOT NULL REFERENCES setup (id),
    record TEXT NOT NULL CHECK (json_valid(record)),
    CHECK (code = record ->> '$.code'),
    CHECK (setup = record ->> '$.setup')
) STRICT;

CREATE INDEX witness_by_setup ON witness (setup, number);
