-- Nothing is deleted, and of an event only the body can go.
CREATE FUNCTION stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '% are never deleted or altered', TG_TABLE_NAME; END $$;

CREATE TRIGGER items_stay BEFORE DELETE ON items
FOR EACH ROW EXECUTE FUNCTION stays();

CREATE TRIGGER events_stay BEFORE DELETE ON events
FOR EACH ROW EXECUTE FUNCTION stays();

CREATE TRIGGER attachments_stay BEFORE DELETE OR UPDATE ON attachments
FOR EACH ROW EXECUTE FUNCTION stays();

CREATE TRIGGER events_as_written BEFORE UPDATE ON events
FOR EACH ROW
WHEN (NEW.body IS NOT NULL
    OR (NEW.key, NEW.version, NEW.serial, NEW.day, NEW.who, NEW.at, NEW.name, NEW.body_sum, NEW.sum)
    IS DISTINCT FROM (OLD.key, OLD.version, OLD.serial, OLD.day, OLD.who, OLD.at, OLD.name, OLD.body_sum, OLD.sum))
EXECUTE FUNCTION stays();
