-- +goose Up

-- Who may sign in. The passphrase is an argon2id hash.
CREATE TABLE users (
    id text PRIMARY KEY,
    name text NOT NULL UNIQUE,
    role text NOT NULL,
    passphrase text NOT NULL,
    created_at text NOT NULL
) STRICT;

-- Who is signed in. The token is the SHA-256 of the one in the browser.
CREATE TABLE sessions (
    token text PRIMARY KEY,
    user_id text NOT NULL REFERENCES users (id) ON DELETE CASCADE,
    device text NOT NULL,
    seen_at text NOT NULL,
    ends_at text NOT NULL
) STRICT;

CREATE INDEX sessions_by_user ON sessions (user_id);

-- +goose Down
DROP TABLE sessions;
DROP TABLE users;
