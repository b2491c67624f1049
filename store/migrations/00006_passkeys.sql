-- +goose Up

-- Passkeys of people who may sign in: public keys, with which one can check but not sign. The counter is the device's own.
CREATE TABLE passkeys (
    id text PRIMARY KEY,
    user_id text NOT NULL REFERENCES users (id) ON DELETE CASCADE,
    host text NOT NULL,
    name text NOT NULL,
    public_key text NOT NULL,
    counter integer NOT NULL,
    synced integer NOT NULL,
    created_at text NOT NULL,
    used_at text NOT NULL
) STRICT;

CREATE INDEX passkeys_by_user ON passkeys (user_id);

-- +goose Down
DROP TABLE passkeys;
