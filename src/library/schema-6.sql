-- What format 6 adds to format 5.

-- Who agreed to what stands in `players` (`consent_keep`, `consent_share`, `consent_date`): player, or
-- guardian. No row where nobody said.
CREATE TABLE consent_givers (
    player          INTEGER PRIMARY KEY REFERENCES players (id) ON DELETE CASCADE,
    given_by        TEXT    NOT NULL
) STRICT;
