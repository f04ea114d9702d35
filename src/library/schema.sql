-- The library's truth, format 1. Deleting a player is one statement: everything cascades.
-- Ids are never given twice (AUTOINCREMENT), so a derived index can not mistake one for another.

CREATE TABLE library (
    id              INTEGER PRIMARY KEY CHECK (id = 1),
    uid             TEXT    NOT NULL,
    created         TEXT    NOT NULL,
    -- Grows with every committed change of a curve; the curve index remembers how far it came.
    serve_changes   INTEGER NOT NULL DEFAULT 0,
    -- Grows with every committed change of searchable words.
    word_changes    INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE players (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    uid             TEXT    NOT NULL UNIQUE,
    code            TEXT    NOT NULL UNIQUE COLLATE NOCASE,
    name            TEXT,
    hand            TEXT,
    level           TEXT,
    born            TEXT,
    stature_m       REAL,
    coach           TEXT,
    consent_keep    INTEGER NOT NULL,
    consent_share   INTEGER NOT NULL,
    consent_date    TEXT
) STRICT;

CREATE TABLE player_squads (
    player          INTEGER NOT NULL REFERENCES players (id) ON DELETE CASCADE,
    place           INTEGER NOT NULL,
    squad           TEXT    NOT NULL,
    PRIMARY KEY (player, squad)
) STRICT, WITHOUT ROWID;

CREATE TABLE cases (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    uid             TEXT    NOT NULL UNIQUE,
    player          INTEGER NOT NULL REFERENCES players (id) ON DELETE CASCADE,
    date            TEXT    NOT NULL,
    grip_index      INTEGER,
    grip_heel       INTEGER,
    speed_kmh       REAL,
    first_serve_pct REAL,
    miss_net        INTEGER,
    miss_long       INTEGER,
    miss_wide       INTEGER,
    note            TEXT,
    word_change     INTEGER NOT NULL,
    UNIQUE (player, date)
) STRICT;
CREATE INDEX cases_by_word_change ON cases (word_change);

CREATE TABLE recordings (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    player          INTEGER NOT NULL REFERENCES players (id) ON DELETE CASCADE,
    case_id         INTEGER NOT NULL REFERENCES cases (id) ON DELETE CASCADE,
    file_name       TEXT    NOT NULL,
    content_hash    TEXT    NOT NULL UNIQUE,
    date            TEXT    NOT NULL,
    capture         TEXT    NOT NULL,
    format          TEXT    NOT NULL,
    view            TEXT,
    rate_hz         REAL    NOT NULL,
    setting         TEXT,
    serve_type      TEXT
) STRICT;
CREATE INDEX recordings_by_player ON recordings (player);
CREATE INDEX recordings_by_case ON recordings (case_id);

-- The recording as read: what serves are found in, kept so that they can be found again.
CREATE TABLE recording_joints (
    recording       INTEGER PRIMARY KEY REFERENCES recordings (id) ON DELETE CASCADE,
    head            BLOB    NOT NULL,
    times           BLOB    NOT NULL,
    times_sum       INTEGER NOT NULL,
    positions       BLOB    NOT NULL,
    positions_sum   INTEGER NOT NULL,
    confidence      BLOB,
    confidence_sum  INTEGER
) STRICT;

CREATE TABLE serves (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    recording       INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    case_id         INTEGER NOT NULL REFERENCES cases (id) ON DELETE CASCADE,
    player          INTEGER NOT NULL REFERENCES players (id) ON DELETE CASCADE,
    place           INTEGER NOT NULL,
    hand            TEXT    NOT NULL,
    channel_set     TEXT    NOT NULL,
    channels        INTEGER NOT NULL,
    serve_change    INTEGER NOT NULL,
    UNIQUE (recording, place)
) STRICT;
CREATE INDEX serves_by_case ON serves (case_id);
CREATE INDEX serves_by_player ON serves (player);
CREATE INDEX serves_by_channel_set ON serves (channel_set, serve_change);

CREATE TABLE serve_data (
    serve           INTEGER PRIMARY KEY REFERENCES serves (id) ON DELETE CASCADE,
    curve           BLOB    NOT NULL,
    curve_sum       INTEGER NOT NULL,
    figures         BLOB    NOT NULL,
    figures_sum     INTEGER NOT NULL,
    details         BLOB    NOT NULL
) STRICT;

CREATE TABLE labels (
    case_id         INTEGER NOT NULL REFERENCES cases (id) ON DELETE CASCADE,
    fault           TEXT    NOT NULL,
    said_by         TEXT    NOT NULL,
    state           TEXT    NOT NULL,
    severity        REAL    NOT NULL,
    note            TEXT,
    PRIMARY KEY (case_id, fault, said_by)
) STRICT, WITHOUT ROWID;
CREATE INDEX labels_by_fault ON labels (fault);

CREATE TABLE plans (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    uid             TEXT    NOT NULL UNIQUE,
    case_id         INTEGER NOT NULL REFERENCES cases (id) ON DELETE CASCADE,
    limiting_fault  TEXT    NOT NULL,
    start           TEXT    NOT NULL,
    review_on       TEXT,
    coach           TEXT,
    note            TEXT
) STRICT;
CREATE INDEX plans_by_case ON plans (case_id);

CREATE TABLE plan_drills (
    plan            INTEGER NOT NULL REFERENCES plans (id) ON DELETE CASCADE,
    place           INTEGER NOT NULL,
    drill           TEXT    NOT NULL,
    dose            TEXT    NOT NULL,
    PRIMARY KEY (plan, place)
) STRICT, WITHOUT ROWID;
CREATE INDEX plan_drills_by_drill ON plan_drills (drill);

CREATE TABLE follow_ups (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    uid             TEXT    NOT NULL UNIQUE,
    plan            INTEGER NOT NULL REFERENCES plans (id) ON DELETE CASCADE,
    date            TEXT    NOT NULL,
    speed_kmh       REAL,
    first_serve_pct REAL,
    miss_net        INTEGER,
    miss_long       INTEGER,
    miss_wide       INTEGER,
    rating          INTEGER,
    sessions_done   INTEGER,
    note            TEXT
) STRICT;
CREATE INDEX follow_ups_by_plan ON follow_ups (plan);

CREATE TABLE follow_up_serves (
    follow_up       INTEGER NOT NULL REFERENCES follow_ups (id) ON DELETE CASCADE,
    place           INTEGER NOT NULL,
    serve           INTEGER NOT NULL REFERENCES serves (id) ON DELETE CASCADE,
    PRIMARY KEY (follow_up, serve)
) STRICT, WITHOUT ROWID;
CREATE INDEX follow_up_serves_by_serve ON follow_up_serves (serve);

-- The library's own additions to the built-in catalogue of faults and drills.
CREATE TABLE catalogue_files (
    name            TEXT    PRIMARY KEY,
    toml            TEXT    NOT NULL
) STRICT;
