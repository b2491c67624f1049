-- +goose Up

-- What the figures of the books sum up: a row for each job, written whenever the job or its offer is. Hours and money are those of jobs
-- that count as timed; parts is how much of each part of the work was made in how long, as JSON.
CREATE TABLE sums (
    job_id text PRIMARY KEY REFERENCES jobs (id) ON DELETE CASCADE,
    measured integer NOT NULL,
    kind text NOT NULL,
    currency text NOT NULL,
    declined integer NOT NULL,
    timed integer NOT NULL,
    inside integer NOT NULL,
    forecast_h real NOT NULL,
    worked_h real NOT NULL,
    total_minor integer NOT NULL,
    parts text NOT NULL
) STRICT;

-- The marks that a job came with, by kind; sizes are added up.
CREATE TABLE mark_sums (
    job_id text NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    kind text NOT NULL,
    marks integer NOT NULL,
    length_mm real NOT NULL,
    width_mm real NOT NULL,
    depth_um real NOT NULL,
    PRIMARY KEY (job_id, kind)
) STRICT;

ALTER TABLE jobs DROP COLUMN worked_min;

-- +goose Down
ALTER TABLE jobs ADD COLUMN worked_min real NOT NULL DEFAULT 0;
DROP TABLE mark_sums;
DROP TABLE sums;
