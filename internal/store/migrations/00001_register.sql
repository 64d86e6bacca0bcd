-- The gear register. One text for every database: only what SQLite and
-- PostgreSQL both understand. Days are ISO 8601 text, so that they compare as
-- they should; moments are microseconds since 1970, UTC.

-- +goose Up

-- An item as its events add up to. item holds all of it; the columns beside
-- it are what is looked for.
CREATE TABLE items (
    key     TEXT   NOT NULL PRIMARY KEY, -- serial in capitals
    version BIGINT NOT NULL,             -- of its latest event
    head    BYTEA  NOT NULL,             -- checksum of its latest event
    status  TEXT   NOT NULL,
    words   TEXT   NOT NULL,             -- in small letters, for finding
    item    TEXT   NOT NULL              -- JSON
);

-- What happened, never altered; a destroyed event keeps all but its body.
CREATE TABLE events (
    key      TEXT   NOT NULL REFERENCES items (key),
    version  BIGINT NOT NULL,
    serial   TEXT   NOT NULL,
    day      TEXT   NOT NULL,
    who      TEXT   NOT NULL,
    at       BIGINT NOT NULL,
    name     TEXT   NOT NULL,
    body     TEXT,                       -- JSON
    body_sum BYTEA  NOT NULL,
    sum      BYTEA  NOT NULL,
    PRIMARY KEY (key, version)
);

-- Which event holds which file. The files lie in the data folder, each under
-- its own checksum.
CREATE TABLE attachments (
    key     TEXT   NOT NULL,
    version BIGINT NOT NULL,
    place   BIGINT NOT NULL,             -- in the event's list
    name    TEXT   NOT NULL,
    sum     TEXT   NOT NULL,
    size    BIGINT NOT NULL,
    PRIMARY KEY (key, version, place),
    FOREIGN KEY (key, version) REFERENCES events (key, version)
);
CREATE INDEX attachments_by_sum ON attachments (sum);

-- What falls due, kept beside the items because it is asked for every day.
CREATE TABLE dues (
    key      TEXT NOT NULL REFERENCES items (key),
    duty     TEXT NOT NULL,
    by_day   TEXT NOT NULL,              -- empty: no day on record
    serial   TEXT NOT NULL,
    kind     TEXT NOT NULL,
    location TEXT NOT NULL,
    status   TEXT NOT NULL,
    PRIMARY KEY (key, duty)
);
-- All columns, so that the list is read from the index alone, in its order.
CREATE INDEX dues_by_day ON dues (by_day, key, duty, serial, kind, location, status);
