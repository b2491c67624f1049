-- +goose Up
CREATE TABLE people (
    id text PRIMARY KEY,
    rev integer NOT NULL,
    name text NOT NULL,
    company text NOT NULL,
    email text NOT NULL,
    phone text NOT NULL,
    erased integer NOT NULL,
    body text NOT NULL,
    updated_at text NOT NULL
) STRICT;

CREATE TABLE vehicles (
    id text PRIMARY KEY,
    rev integer NOT NULL,
    person_id text NOT NULL,
    name text NOT NULL,
    plate text NOT NULL,
    vin text NOT NULL,
    body text NOT NULL,
    updated_at text NOT NULL
) STRICT;

CREATE INDEX vehicles_by_person ON vehicles (person_id);

ALTER TABLE jobs ADD COLUMN rev integer NOT NULL DEFAULT 1;
ALTER TABLE jobs ADD COLUMN person_id text NOT NULL DEFAULT '';
ALTER TABLE jobs ADD COLUMN vehicle_id text NOT NULL DEFAULT '';
ALTER TABLE jobs ADD COLUMN record text NOT NULL DEFAULT '{}';

CREATE INDEX jobs_by_update ON jobs (updated_at);
CREATE INDEX jobs_by_step ON jobs (step, updated_at);
CREATE INDEX jobs_by_person ON jobs (person_id);
CREATE INDEX jobs_by_vehicle ON jobs (vehicle_id);

-- What lists and figures need of a measured capture without opening its files.
ALTER TABLE captures ADD COLUMN total_minor integer NOT NULL DEFAULT 0;
ALTER TABLE captures ADD COLUMN currency text NOT NULL DEFAULT '';
ALTER TABLE captures ADD COLUMN hours real NOT NULL DEFAULT 0;
ALTER TABLE captures ADD COLUMN answer text NOT NULL DEFAULT '';

CREATE TABLE marks (
    capture_id text NOT NULL REFERENCES captures (id) ON DELETE CASCADE,
    id text NOT NULL,
    kind text NOT NULL,
    length_mm real NOT NULL,
    width_mm real NOT NULL,
    depth_um real NOT NULL,
    PRIMARY KEY (capture_id, id)
) STRICT;

-- A file that belongs to a job but to no capture: photos of existing flaws, papers.
CREATE TABLE attachments (
    job_id text NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    name text NOT NULL,
    sha256 text NOT NULL,
    size integer NOT NULL,
    PRIMARY KEY (job_id, name)
) STRICT;

CREATE TABLE papers (
    id text PRIMARY KEY,
    job_id text NOT NULL REFERENCES jobs (id),
    kind text NOT NULL,
    number text NOT NULL,
    version integer NOT NULL,
    lang text NOT NULL,
    currency text NOT NULL,
    total_minor integer NOT NULL,
    state text NOT NULL,
    created_at text NOT NULL,
    UNIQUE (kind, number, version)
) STRICT;

CREATE INDEX papers_by_job ON papers (job_id, created_at);

CREATE TABLE settings (
    name text PRIMARY KEY,
    rev integer NOT NULL,
    body text NOT NULL,
    updated_at text NOT NULL
) STRICT;

CREATE TABLE entries (
    at text NOT NULL,
    seq integer NOT NULL,
    who text NOT NULL,
    what text NOT NULL,
    job_id text NOT NULL,
    note text NOT NULL,
    PRIMARY KEY (at, seq)
) STRICT;

CREATE INDEX entries_by_job ON entries (job_id, at);

-- +goose Down
DROP TABLE entries;
DROP TABLE settings;
DROP TABLE papers;
DROP TABLE attachments;
DROP TABLE marks;
ALTER TABLE captures DROP COLUMN total_minor;
ALTER TABLE captures DROP COLUMN currency;
ALTER TABLE captures DROP COLUMN hours;
ALTER TABLE captures DROP COLUMN answer;
DROP INDEX jobs_by_vehicle;
DROP INDEX jobs_by_person;
DROP INDEX jobs_by_step;
DROP INDEX jobs_by_update;
ALTER TABLE jobs DROP COLUMN record;
ALTER TABLE jobs DROP COLUMN vehicle_id;
ALTER TABLE jobs DROP COLUMN person_id;
ALTER TABLE jobs DROP COLUMN rev;
DROP TABLE vehicles;
DROP TABLE people;
