-- What format 5 adds to format 4.

-- What people set on recordings. `kind`: moment (of `serve`, named in `event`), angle, line, arrow,
-- ring, words. `points`: column and row in pixels of the clip's upright picture, as JSON. `frame`: of
-- the recording. `at` is not known of what came in a pack.
CREATE TABLE marks (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    recording       INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    serve           INTEGER REFERENCES serves (id) ON DELETE CASCADE,
    kind            TEXT    NOT NULL,
    event           TEXT,
    time_s          REAL    NOT NULL,
    frame           INTEGER NOT NULL,
    points          TEXT,
    text            TEXT,
    said_by         TEXT    NOT NULL,
    at              TEXT,
    UNIQUE (serve, event)
) STRICT;
CREATE INDEX marks_by_recording ON marks (recording);

-- What the program saw of a serve's moments, where not the joints alone decide: `witness` joints or
-- sound. `trust` as of an event, `error_s` a standard error.
CREATE TABLE moments_seen (
    serve           INTEGER NOT NULL REFERENCES serves (id) ON DELETE CASCADE,
    event           TEXT    NOT NULL,
    witness         TEXT    NOT NULL,
    time_s          REAL    NOT NULL,
    frame           INTEGER NOT NULL,
    error_s         REAL    NOT NULL,
    trust           REAL    NOT NULL,
    PRIMARY KEY (serve, event, witness)
) STRICT, WITHOUT ROWID;

-- How often a serve was read again from its joints: an earlier reading is not put back over a later.
CREATE TABLE rereadings (
    serve           INTEGER PRIMARY KEY REFERENCES serves (id) ON DELETE CASCADE,
    times           INTEGER NOT NULL
) STRICT;
