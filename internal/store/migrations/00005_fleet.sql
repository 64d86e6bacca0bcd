-- What a node of a hub has made of its stream. Empty in a site's store. One text
-- for every database, as before; moments are microseconds since 1970, UTC.

-- +goose Up

-- How far the node has got; written with what is below.
CREATE TABLE fleet_place (
    one      BIGINT NOT NULL PRIMARY KEY CHECK (one = 1),
    born     BIGINT NOT NULL,            -- nanoseconds since 1970
    sequence BIGINT NOT NULL
);
INSERT INTO fleet_place (one, born, sequence) VALUES (1, 0, 0);

-- The latest beat of each site, for after a restart.
CREATE TABLE fleet_sites (
    site  TEXT   NOT NULL PRIMARY KEY,
    heard BIGINT NOT NULL,
    beat  TEXT   NOT NULL                -- JSON
);

-- How much of each recording has come.
CREATE TABLE fleet_tallies (
    site     TEXT   NOT NULL,
    watch    TEXT   NOT NULL,
    last     BIGINT NOT NULL,
    last_at  BIGINT NOT NULL,
    entries  BIGINT NOT NULL,
    readings BIGINT NOT NULL,
    missing  BIGINT NOT NULL,
    again    BIGINT NOT NULL,
    stops    BIGINT NOT NULL,
    PRIMARY KEY (site, watch)
);

CREATE TABLE fleet_stops (
    site  TEXT   NOT NULL,
    watch TEXT   NOT NULL,
    n     BIGINT NOT NULL,               -- entry of the recording
    at    BIGINT NOT NULL,
    kind  TEXT   NOT NULL,
    place TEXT   NOT NULL,
    text  TEXT   NOT NULL,
    PRIMARY KEY (site, watch, n)
);
CREATE INDEX fleet_stops_by_time ON fleet_stops (at);

-- Documents as they stand at each site.
CREATE TABLE fleet_documents (
    site TEXT   NOT NULL,
    kind TEXT   NOT NULL,
    id   TEXT   NOT NULL,
    at   BIGINT NOT NULL,
    body TEXT   NOT NULL,                -- JSON
    PRIMARY KEY (site, kind, id)
);
CREATE INDEX fleet_documents_by_id ON fleet_documents (kind, id);
