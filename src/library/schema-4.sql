-- What format 4 adds to format 3: how plans end, practice done under them, a case's words as a list,
-- what was before a change.
-- Until then a case had one note, overwritten by the next; `store.rs` carries it over.

-- Plans that are in force no longer. `how`: ended, withdrawn, replaced.
CREATE TABLE plan_ends (
    plan            INTEGER PRIMARY KEY REFERENCES plans (id) ON DELETE CASCADE,
    day             TEXT    NOT NULL,
    how             TEXT    NOT NULL,
    replaced_by     INTEGER REFERENCES plans (id) ON DELETE SET NULL,
    said_by         TEXT    NOT NULL,
    reason          TEXT
) STRICT;
CREATE INDEX plan_ends_by_next ON plan_ends (replaced_by);

-- Practice done under plans. How hard it was and how much it hurt: 0 to 10. Never leaves the library.
CREATE TABLE practice (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    plan            INTEGER NOT NULL REFERENCES plans (id) ON DELETE CASCADE,
    day             TEXT    NOT NULL,
    sessions        INTEGER NOT NULL,
    repetitions     INTEGER,
    effort          INTEGER,
    pain            INTEGER,
    pain_place      TEXT,
    note            TEXT,
    said_by         TEXT,
    at              TEXT    NOT NULL
) STRICT;
CREATE INDEX practice_by_plan ON practice (plan);

-- Words on a case, in the order they were added. Who and when is not known of words from before
-- format 4. `came`: 1 for those that came in a pack.
CREATE TABLE case_notes (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    case_id         INTEGER NOT NULL REFERENCES cases (id) ON DELETE CASCADE,
    text            TEXT    NOT NULL,
    said_by         TEXT,
    at              TEXT,
    came            INTEGER NOT NULL
) STRICT;
CREATE INDEX case_notes_by_case ON case_notes (case_id);

-- Changes whose earlier state is kept. `undoes`: the change it took back; `undone_by`: the one
-- that took it back.
CREATE TABLE history (
    id              INTEGER PRIMARY KEY AUTOINCREMENT,
    at              TEXT    NOT NULL,
    said_by         TEXT,
    kind            TEXT    NOT NULL,
    store_format    INTEGER NOT NULL,
    undoes          INTEGER,
    undone_by       INTEGER
) STRICT;

-- Whom and what a change touched, also what is there no more.
CREATE TABLE history_of (
    change          INTEGER NOT NULL REFERENCES history (id) ON DELETE CASCADE,
    kind            TEXT    NOT NULL,
    item            INTEGER NOT NULL,
    PRIMARY KEY (kind, item, change)
) STRICT, WITHOUT ROWID;
CREATE INDEX history_of_by_change ON history_of (change);

-- The rows it changed, in order: a sealed value each, what stood there before and after.
CREATE TABLE history_rows (
    change          INTEGER NOT NULL REFERENCES history (id) ON DELETE CASCADE,
    place           INTEGER NOT NULL,
    body            BLOB    NOT NULL,
    PRIMARY KEY (change, place)
) STRICT, WITHOUT ROWID;

-- Copies of clips an earlier state names: they stay while it can be put back.
CREATE TABLE history_clips (
    change          INTEGER NOT NULL REFERENCES history (id) ON DELETE CASCADE,
    hash            TEXT    NOT NULL,
    PRIMARY KEY (change, hash)
) STRICT, WITHOUT ROWID;

-- Cases and recordings that left in a pack and are here no more: the next packs take them back.
-- `player` and `uid` as packs name them.
CREATE TABLE items_to_withdraw (
    player          TEXT    NOT NULL,
    kind            TEXT    NOT NULL,
    uid             TEXT    NOT NULL,
    day             TEXT    NOT NULL,
    PRIMARY KEY (player, kind, uid)
) STRICT, WITHOUT ROWID;

-- The same from others: what was packed before `made` is not shown again.
CREATE TABLE item_withdrawals_received (
    sender          TEXT    NOT NULL,
    player          TEXT    NOT NULL,
    kind            TEXT    NOT NULL,
    uid             TEXT    NOT NULL,
    made            TEXT    NOT NULL,
    PRIMARY KEY (sender, player, kind, uid)
) STRICT, WITHOUT ROWID;
