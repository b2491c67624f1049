-- +goose Up

-- How often a capture had to wait again, as something that measuring needs could not be reached.
ALTER TABLE runs ADD COLUMN waits integer NOT NULL DEFAULT 0;

-- What sign-in remembers from one request to the next, for whichever process gets it: challenges that devices are to answer, and how
-- many tries are left.
CREATE TABLE challenges (
    token text PRIMARY KEY,
    body text NOT NULL,
    ends_at text NOT NULL
) STRICT;

CREATE TABLE tries (
    of_whom text PRIMARY KEY,
    tokens real NOT NULL,
    seen_at text NOT NULL
) STRICT;

-- +goose Down
DROP TABLE tries;
DROP TABLE challenges;
ALTER TABLE runs DROP COLUMN waits;
