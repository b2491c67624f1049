-- +goose Up

-- Who measures a capture. A holder that is not heard of for a while is taken for dead: another takes over, and what the first may
-- still send is refused.
CREATE TABLE runs (
    capture_id text PRIMARY KEY REFERENCES captures (id) ON DELETE CASCADE,
    holder text NOT NULL,
    tries integer NOT NULL,
    beat_at text NOT NULL
) STRICT;

CREATE INDEX runs_by_beat ON runs (beat_at);

-- +goose Down
DROP TABLE runs;
