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

-- Whose rows changed, by a number that grows and is never given twice: what is derived of a player is
-- out of date if it is older. Kept by the triggers below, so that no way of changing rows passes it by.
CREATE TABLE player_changes (
    change          INTEGER PRIMARY KEY AUTOINCREMENT,
    player          INTEGER NOT NULL UNIQUE
) STRICT;

CREATE INDEX recordings_by_date ON recordings (date);

CREATE TRIGGER players_added AFTER INSERT ON players BEGIN
    DELETE FROM player_changes WHERE player = NEW.id;
    INSERT INTO player_changes (player) VALUES (NEW.id);
END;
CREATE TRIGGER players_changed AFTER UPDATE ON players BEGIN
    DELETE FROM player_changes WHERE player = OLD.id;
    INSERT INTO player_changes (player) VALUES (OLD.id);
    DELETE FROM player_changes WHERE player = NEW.id;
    INSERT INTO player_changes (player) VALUES (NEW.id);
END;
CREATE TRIGGER players_removed AFTER DELETE ON players BEGIN
    DELETE FROM player_changes WHERE player = OLD.id;
    INSERT INTO player_changes (player) VALUES (OLD.id);
END;
CREATE TRIGGER cases_added AFTER INSERT ON cases BEGIN
    DELETE FROM player_changes WHERE player = NEW.player;
    INSERT INTO player_changes (player) VALUES (NEW.player);
END;
CREATE TRIGGER cases_changed AFTER UPDATE ON cases BEGIN
    DELETE FROM player_changes WHERE player = OLD.player;
    INSERT INTO player_changes (player) VALUES (OLD.player);
    DELETE FROM player_changes WHERE player = NEW.player;
    INSERT INTO player_changes (player) VALUES (NEW.player);
END;
CREATE TRIGGER cases_removed AFTER DELETE ON cases BEGIN
    DELETE FROM player_changes WHERE player = OLD.player;
    INSERT INTO player_changes (player) VALUES (OLD.player);
END;
CREATE TRIGGER recordings_added AFTER INSERT ON recordings BEGIN
    DELETE FROM player_changes WHERE player = NEW.player;
    INSERT INTO player_changes (player) VALUES (NEW.player);
END;
CREATE TRIGGER recordings_changed AFTER UPDATE ON recordings BEGIN
    DELETE FROM player_changes WHERE player = OLD.player;
    INSERT INTO player_changes (player) VALUES (OLD.player);
    DELETE FROM player_changes WHERE player = NEW.player;
    INSERT INTO player_changes (player) VALUES (NEW.player);
END;
CREATE TRIGGER recordings_removed AFTER DELETE ON recordings BEGIN
    DELETE FROM player_changes WHERE player = OLD.player;
    INSERT INTO player_changes (player) VALUES (OLD.player);
END;
CREATE TRIGGER serves_added AFTER INSERT ON serves BEGIN
    DELETE FROM player_changes WHERE player = NEW.player;
    INSERT INTO player_changes (player) VALUES (NEW.player);
END;
CREATE TRIGGER serves_changed AFTER UPDATE ON serves BEGIN
    DELETE FROM player_changes WHERE player = OLD.player;
    INSERT INTO player_changes (player) VALUES (OLD.player);
    DELETE FROM player_changes WHERE player = NEW.player;
    INSERT INTO player_changes (player) VALUES (NEW.player);
END;
CREATE TRIGGER serves_removed AFTER DELETE ON serves BEGIN
    DELETE FROM player_changes WHERE player = OLD.player;
    INSERT INTO player_changes (player) VALUES (OLD.player);
END;
CREATE TRIGGER serve_data_changed AFTER UPDATE ON serve_data BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM serves WHERE id = NEW.serve);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM serves WHERE id = NEW.serve) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER labels_added AFTER INSERT ON labels BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM cases WHERE id = NEW.case_id);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM cases WHERE id = NEW.case_id) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER labels_changed AFTER UPDATE ON labels BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM cases WHERE id = OLD.case_id);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM cases WHERE id = OLD.case_id) AS p) WHERE p IS NOT NULL;
    DELETE FROM player_changes WHERE player = (SELECT player FROM cases WHERE id = NEW.case_id);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM cases WHERE id = NEW.case_id) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER labels_removed AFTER DELETE ON labels BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM cases WHERE id = OLD.case_id);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM cases WHERE id = OLD.case_id) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER plans_added AFTER INSERT ON plans BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM cases WHERE id = NEW.case_id);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM cases WHERE id = NEW.case_id) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER plans_changed AFTER UPDATE ON plans BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM cases WHERE id = OLD.case_id);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM cases WHERE id = OLD.case_id) AS p) WHERE p IS NOT NULL;
    DELETE FROM player_changes WHERE player = (SELECT player FROM cases WHERE id = NEW.case_id);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM cases WHERE id = NEW.case_id) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER plans_removed AFTER DELETE ON plans BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM cases WHERE id = OLD.case_id);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM cases WHERE id = OLD.case_id) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER plan_drills_added AFTER INSERT ON plan_drills BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER plan_drills_changed AFTER UPDATE ON plan_drills BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan) AS p) WHERE p IS NOT NULL;
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER plan_drills_removed AFTER DELETE ON plan_drills BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER plan_ends_added AFTER INSERT ON plan_ends BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER plan_ends_changed AFTER UPDATE ON plan_ends BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan) AS p) WHERE p IS NOT NULL;
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER plan_ends_removed AFTER DELETE ON plan_ends BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER practice_added AFTER INSERT ON practice BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER practice_changed AFTER UPDATE ON practice BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan) AS p) WHERE p IS NOT NULL;
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER practice_removed AFTER DELETE ON practice BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER follow_ups_added AFTER INSERT ON follow_ups BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER follow_ups_changed AFTER UPDATE ON follow_ups BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan) AS p) WHERE p IS NOT NULL;
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = NEW.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER follow_ups_removed AFTER DELETE ON follow_ups BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = OLD.plan) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER follow_up_serves_added AFTER INSERT ON follow_up_serves BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM follow_ups f JOIN plans n ON n.id = f.plan
        JOIN cases c ON c.id = n.case_id WHERE f.id = NEW.follow_up);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM follow_ups f JOIN plans n ON n.id = f.plan
        JOIN cases c ON c.id = n.case_id WHERE f.id = NEW.follow_up) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER follow_up_serves_changed AFTER UPDATE ON follow_up_serves BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM follow_ups f JOIN plans n ON n.id = f.plan
        JOIN cases c ON c.id = n.case_id WHERE f.id = OLD.follow_up);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM follow_ups f JOIN plans n ON n.id = f.plan
        JOIN cases c ON c.id = n.case_id WHERE f.id = OLD.follow_up) AS p) WHERE p IS NOT NULL;
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM follow_ups f JOIN plans n ON n.id = f.plan
        JOIN cases c ON c.id = n.case_id WHERE f.id = NEW.follow_up);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM follow_ups f JOIN plans n ON n.id = f.plan
        JOIN cases c ON c.id = n.case_id WHERE f.id = NEW.follow_up) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER follow_up_serves_removed AFTER DELETE ON follow_up_serves BEGIN
    DELETE FROM player_changes WHERE player = (SELECT c.player FROM follow_ups f JOIN plans n ON n.id = f.plan
        JOIN cases c ON c.id = n.case_id WHERE f.id = OLD.follow_up);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT c.player FROM follow_ups f JOIN plans n ON n.id = f.plan
        JOIN cases c ON c.id = n.case_id WHERE f.id = OLD.follow_up) AS p) WHERE p IS NOT NULL;
END;

-- For how many months after the last day recorded of them players are kept, and who said so: one row
-- at most. The program reminds, and removes nobody.
CREATE TABLE retention (
    id              INTEGER PRIMARY KEY CHECK (id = 1),
    months          INTEGER NOT NULL,
    said_by         TEXT    NOT NULL,
    day             TEXT    NOT NULL
) STRICT;

-- When the library was last checked as a whole and found sound: one row at most.
CREATE TABLE last_sound (
    id              INTEGER PRIMARY KEY CHECK (id = 1),
    at              TEXT    NOT NULL
) STRICT;
