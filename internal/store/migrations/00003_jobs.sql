-- Lifts, persons, and what a search of the register needs. One text for every
-- database, as before.

-- +goose Up

-- Every change of an item gets the next number, so that who keeps items in
-- memory can ask for what has changed since.
ALTER TABLE items ADD COLUMN changed BIGINT NOT NULL DEFAULT 0;
CREATE INDEX items_by_change ON items (changed);
CREATE TABLE changes (
    one  BIGINT NOT NULL PRIMARY KEY CHECK (one = 1),
    last BIGINT NOT NULL
);
INSERT INTO changes (one, last) VALUES (1, 0);

-- A job as it stands. job holds all of it but the text of its revisions; the
-- columns beside it are what is looked for.
CREATE TABLE jobs (
    id      TEXT   NOT NULL PRIMARY KEY,
    version BIGINT NOT NULL,
    state   TEXT   NOT NULL,
    words   TEXT   NOT NULL,             -- in small letters, for finding
    changed BIGINT NOT NULL,             -- microseconds since 1970, UTC
    job     TEXT   NOT NULL              -- JSON
);
CREATE INDEX jobs_by_change ON jobs (changed);

-- The lift files, never altered.
CREATE TABLE revisions (
    id     TEXT   NOT NULL REFERENCES jobs (id),
    n      BIGINT NOT NULL,
    sha256 TEXT   NOT NULL,
    text   TEXT   NOT NULL,
    PRIMARY KEY (id, n)
);

CREATE TABLE persons (
    key     TEXT   NOT NULL PRIMARY KEY, -- name in small letters
    version BIGINT NOT NULL,
    person  TEXT   NOT NULL              -- JSON
);

CREATE TABLE sessions (
    sum    BYTEA   NOT NULL PRIMARY KEY, -- SHA-256 of the token
    key    TEXT    NOT NULL REFERENCES persons (key),
    begun  BIGINT  NOT NULL,
    seen   BIGINT  NOT NULL,
    by_pin BOOLEAN NOT NULL
);
CREATE INDEX sessions_by_person ON sessions (key);
