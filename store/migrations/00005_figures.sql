-- +goose Up
-- What the figures of the books need without opening a job's record or a capture's files.
ALTER TABLE jobs ADD COLUMN worked_min real NOT NULL DEFAULT 0;
ALTER TABLE captures ADD COLUMN hours_low real NOT NULL DEFAULT 0;
ALTER TABLE captures ADD COLUMN hours_high real NOT NULL DEFAULT 0;

-- +goose Down
ALTER TABLE captures DROP COLUMN hours_high;
ALTER TABLE captures DROP COLUMN hours_low;
ALTER TABLE jobs DROP COLUMN worked_min;
