-- +goose Up
CREATE TABLE jobs (
    id text PRIMARY KEY,
    number integer NOT NULL UNIQUE,
    customer text NOT NULL,
    vehicle text NOT NULL,
    panel text NOT NULL,
    kind text NOT NULL,
    material text NOT NULL,
    sheet_mm real NOT NULL,
    film_um real NOT NULL,
    no_reach integer NOT NULL,
    notes text NOT NULL,
    step text NOT NULL,
    declined integer NOT NULL,
    created_at text NOT NULL,
    updated_at text NOT NULL
) STRICT;

CREATE TABLE captures (
    id text PRIMARY KEY,
    job_id text NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    title text NOT NULL,
    state text NOT NULL,
    doing text NOT NULL,
    progress real NOT NULL,
    message text NOT NULL,
    marks integer NOT NULL,
    deep_um real NOT NULL,
    created_at text NOT NULL
) STRICT;

CREATE INDEX captures_by_job ON captures (job_id, created_at);
CREATE INDEX captures_by_state ON captures (state, created_at);

-- A file of a capture: a photo that came in, or a result that was made from it. The bytes lie beside the database, named by their hash.
CREATE TABLE files (
    capture_id text NOT NULL REFERENCES captures (id) ON DELETE CASCADE,
    name text NOT NULL,
    made integer NOT NULL,
    sha256 text NOT NULL,
    size integer NOT NULL,
    PRIMARY KEY (capture_id, name)
) STRICT;

-- +goose Down
DROP TABLE files;
DROP TABLE captures;
DROP TABLE jobs;
