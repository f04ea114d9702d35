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

-- What a player tells on the day of a case: how much tennis, old injuries, which serves were seen, where
-- they went. `pain_asked`: 1 where pain was asked about; without rows in `check_in_pains` nothing hurts.
-- Never leaves the library.
CREATE TABLE check_ins (
    case_id         INTEGER PRIMARY KEY REFERENCES cases (id) ON DELETE CASCADE,
    pain_asked      INTEGER NOT NULL,
    injuries        TEXT,
    serves_a_week   INTEGER,
    tennis_hours    REAL,
    sport_hours     REAL,
    attempt         TEXT,
    court           TEXT,
    target          TEXT,
    wide_left       INTEGER,
    wide_right      INTEGER,
    double_faults   INTEGER,
    said_by         TEXT
) STRICT;

-- Where it hurts that day, 1 to 10, and when.
CREATE TABLE check_in_pains (
    case_id         INTEGER NOT NULL REFERENCES cases (id) ON DELETE CASCADE,
    place           TEXT    NOT NULL,
    level           INTEGER NOT NULL,
    hurts_when      TEXT,
    PRIMARY KEY (case_id, place)
) STRICT, WITHOUT ROWID;

-- Every version of the library's own catalogue files, the one in use included; no `toml`: taken out.
CREATE TABLE catalogue_versions (
    name            TEXT    NOT NULL,
    version         INTEGER NOT NULL,
    toml            TEXT,
    at              TEXT    NOT NULL,
    said_by         TEXT,
    PRIMARY KEY (name, version)
) STRICT, WITHOUT ROWID;
