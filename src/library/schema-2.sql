-- What format 2 adds to format 1: only new tables, so that a library of format 1 becomes one of
-- format 2 by these lines alone, and is read without them as if they were empty.

-- Behind every pseudonym and every tombstone of this library; never leaves it.
CREATE TABLE secrets (
    id              INTEGER PRIMARY KEY CHECK (id = 1),
    secret          BLOB    NOT NULL CHECK (length(secret) = 32)
) STRICT;

-- Work that must be finished before the next change, should a crash come in between: 'wipe'.
CREATE TABLE chores (
    what            TEXT    PRIMARY KEY
) STRICT, WITHOUT ROWID;

-- The clip a recording was read from. `body` is its reader's own: joints in the picture, facts.
CREATE TABLE clips (
    recording       INTEGER PRIMARY KEY REFERENCES recordings (id) ON DELETE CASCADE,
    path            TEXT    NOT NULL,
    hash            TEXT    NOT NULL,
    kept            INTEGER NOT NULL,
    body            BLOB    NOT NULL,
    body_sum        INTEGER NOT NULL
) STRICT;

-- Packs that came. What the library shows of them is a function of this set, the withdrawals and
-- the tombstones: order and repetition do not matter.
CREATE TABLE packs_received (
    id              TEXT    PRIMARY KEY,
    sender          TEXT    NOT NULL,
    academy         TEXT,
    made            TEXT    NOT NULL,
    received        TEXT    NOT NULL,
    signer          TEXT
) STRICT, WITHOUT ROWID;

-- Their players, cases and recordings as they came, each version once.
CREATE TABLE received_items (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    sender          TEXT    NOT NULL,
    owner           TEXT    NOT NULL,
    kind            TEXT    NOT NULL,
    uid             TEXT    NOT NULL,
    print           TEXT    NOT NULL,
    body            BLOB    NOT NULL,
    UNIQUE (sender, owner, kind, uid, print)
) STRICT;

CREATE TABLE received_in (
    pack            TEXT    NOT NULL REFERENCES packs_received (id) ON DELETE CASCADE,
    item            INTEGER NOT NULL REFERENCES received_items (id) ON DELETE CASCADE,
    PRIMARY KEY (pack, item)
) STRICT, WITHOUT ROWID;
CREATE INDEX received_in_by_item ON received_in (item);

-- Which version each row of the library was made from.
CREATE TABLE player_origins (
    player          INTEGER PRIMARY KEY REFERENCES players (id) ON DELETE CASCADE,
    sender          TEXT    NOT NULL,
    uid             TEXT    NOT NULL,
    item            INTEGER NOT NULL,
    pack            TEXT    NOT NULL,
    UNIQUE (sender, uid)
) STRICT;

CREATE TABLE case_origins (
    case_id         INTEGER PRIMARY KEY REFERENCES cases (id) ON DELETE CASCADE,
    item            INTEGER NOT NULL,
    pack            TEXT    NOT NULL,
    -- Ages reached in the year of the case, both ends included: all a pack says of a birth date.
    age_from        INTEGER,
    age_to          INTEGER
) STRICT;

CREATE TABLE recording_origins (
    recording       INTEGER PRIMARY KEY REFERENCES recordings (id) ON DELETE CASCADE,
    item            INTEGER NOT NULL
) STRICT;

-- What the sender's catalogue calls the faults and drills its cases name.
CREATE TABLE received_names (
    pack            TEXT    NOT NULL REFERENCES packs_received (id) ON DELETE CASCADE,
    kind            TEXT    NOT NULL,
    id              TEXT    NOT NULL,
    name            TEXT    NOT NULL,
    toml            TEXT,
    PRIMARY KEY (pack, kind, id)
) STRICT, WITHOUT ROWID;

-- Players a sender took back: what was packed before `made` is not shown again.
CREATE TABLE withdrawals_received (
    sender          TEXT    NOT NULL,
    player          TEXT    NOT NULL,
    made            TEXT    NOT NULL,
    PRIMARY KEY (sender, player)
) STRICT, WITHOUT ROWID;

-- Packs that left, and whose cases were in them. Who is forgotten here is no longer named here.
CREATE TABLE packs_sent (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    made            TEXT    NOT NULL,
    scope           TEXT    NOT NULL,
    recipient       TEXT,
    file_hash       TEXT    NOT NULL,
    players         INTEGER NOT NULL,
    cases           INTEGER NOT NULL,
    serves          INTEGER NOT NULL
) STRICT;

CREATE TABLE sent_cases (
    pack            INTEGER NOT NULL REFERENCES packs_sent (id) ON DELETE CASCADE,
    case_id         INTEGER NOT NULL REFERENCES cases (id) ON DELETE CASCADE,
    player          INTEGER NOT NULL REFERENCES players (id) ON DELETE CASCADE,
    PRIMARY KEY (pack, case_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX sent_cases_by_case ON sent_cases (case_id);
CREATE INDEX sent_cases_by_player ON sent_cases (player);

-- Pseudonyms of forgotten players under which a recipient still holds cases: the next pack for
-- that recipient asks for their removal.
CREATE TABLE withdrawals_to_send (
    scope           TEXT    NOT NULL,
    player          TEXT    NOT NULL,
    day             TEXT    NOT NULL,
    PRIMARY KEY (scope, player)
) STRICT, WITHOUT ROWID;

-- Forgotten people, as keyed hashes: recognised when they come again, named nowhere.
CREATE TABLE tombstones (
    print           BLOB    PRIMARY KEY,
    day             TEXT    NOT NULL
) STRICT, WITHOUT ROWID;
