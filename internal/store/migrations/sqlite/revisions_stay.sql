-- A revision is what it was when it was written.
CREATE TRIGGER jobs_stay BEFORE DELETE ON jobs
BEGIN SELECT RAISE(ABORT, 'lifts are never deleted'); END;

CREATE TRIGGER revisions_stay BEFORE DELETE ON revisions
BEGIN SELECT RAISE(ABORT, 'revisions are never deleted'); END;

CREATE TRIGGER revisions_as_written BEFORE UPDATE ON revisions
BEGIN SELECT RAISE(ABORT, 'revisions are never altered'); END;

CREATE TRIGGER persons_stay BEFORE DELETE ON persons
BEGIN SELECT RAISE(ABORT, 'persons are never deleted'); END;
