-- A revision is what it was when it was written.
CREATE TRIGGER jobs_stay BEFORE DELETE ON jobs
FOR EACH ROW EXECUTE FUNCTION stays();

CREATE TRIGGER revisions_stay BEFORE DELETE OR UPDATE ON revisions
FOR EACH ROW EXECUTE FUNCTION stays();

CREATE TRIGGER persons_stay BEFORE DELETE ON persons
FOR EACH ROW EXECUTE FUNCTION stays();
