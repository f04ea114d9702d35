-- What format 3 adds to format 2. Until then the place stood behind the dose: "3 x 10; wall".

-- Where the drill is to be done, by its name: off_court, practice_swing, wall, service_line, baseline.
ALTER TABLE plan_drills ADD COLUMN done_where TEXT;
