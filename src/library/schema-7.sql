-- What format 7 adds to format 6.

-- What people say of two clips of one day, the smaller id in `one`: that they show the same serves, and
-- by which two serves that is known, or, without serves, that they show different ones. What nobody said
-- is found from the times between contacts and not stored.
CREATE TABLE clip_pairs (
    one             INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    other           INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
    one_serve       INTEGER REFERENCES serves (id) ON DELETE CASCADE,
    other_serve     INTEGER REFERENCES serves (id) ON DELETE CASCADE,
    said_by         TEXT    NOT NULL,
    at              TEXT    NOT NULL,
    PRIMARY KEY (one, other),
    CHECK (one < other AND (one_serve IS NULL) = (other_serve IS NULL))
) STRICT, WITHOUT ROWID;
CREATE INDEX clip_pairs_by_other ON clip_pairs (other);
CREATE INDEX clip_pairs_by_one_serve ON clip_pairs (one_serve);
CREATE INDEX clip_pairs_by_other_serve ON clip_pairs (other_serve);

CREATE TRIGGER clip_pairs_added AFTER INSERT ON clip_pairs BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM recordings WHERE id = NEW.one);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM recordings WHERE id = NEW.one) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER clip_pairs_changed AFTER UPDATE ON clip_pairs BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM recordings WHERE id = NEW.one);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM recordings WHERE id = NEW.one) AS p) WHERE p IS NOT NULL;
END;
CREATE TRIGGER clip_pairs_removed AFTER DELETE ON clip_pairs BEGIN
    DELETE FROM player_changes WHERE player = (SELECT player FROM recordings WHERE id = OLD.one);
    INSERT INTO player_changes (player) SELECT p FROM (SELECT (SELECT player FROM recordings WHERE id = OLD.one) AS p) WHERE p IS NOT NULL;
END;
