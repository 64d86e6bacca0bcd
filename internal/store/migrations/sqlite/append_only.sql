-- Nothing is deleted, and of an event only the body can go.
CREATE TRIGGER items_stay BEFORE DELETE ON items
BEGIN SELECT RAISE(ABORT, 'items are never deleted'); END;

CREATE TRIGGER events_stay BEFORE DELETE ON events
BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END;

CREATE TRIGGER attachments_stay BEFORE DELETE ON attachments
BEGIN SELECT RAISE(ABORT, 'attachments are never deleted'); END;

CREATE TRIGGER attachments_as_written BEFORE UPDATE ON attachments
BEGIN SELECT RAISE(ABORT, 'attachments are never altered'); END;

CREATE TRIGGER events_as_written BEFORE UPDATE ON events
WHEN NEW.body IS NOT NULL
    OR (NEW.key, NEW.version, NEW.serial, NEW.day, NEW.who, NEW.at, NEW.name, NEW.body_sum, NEW.sum)
    IS NOT (OLD.key, OLD.version, OLD.serial, OLD.day, OLD.who, OLD.at, OLD.name, OLD.body_sum, OLD.sum)
BEGIN SELECT RAISE(ABORT, 'events are never altered'); END;
