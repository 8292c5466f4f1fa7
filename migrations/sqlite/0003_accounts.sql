-- What is needed to run but is not evidence: answers to repeated commands, and signing in.

CREATE TABLE commands (
    id TEXT NOT NULL PRIMARY KEY,
    fingerprint BLOB NOT NULL,
    actor TEXT NOT NULL,
    answer TEXT NOT NULL,
    first_seq INTEGER NOT NULL,
    count INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE credentials (
    person TEXT NOT NULL PRIMARY KEY,
    phc TEXT NOT NULL,
    changed_at TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- Only the hash of a session's token is kept: a stolen copy of the database opens no session.
CREATE TABLE sessions (
    token_hash BLOB NOT NULL PRIMARY KEY,
    person TEXT NOT NULL,
    created_at TEXT NOT NULL,
    seen_at TEXT NOT NULL,
    theme TEXT
) STRICT, WITHOUT ROWID;
CREATE INDEX sessions_person ON sessions (person);
CREATE INDEX sessions_seen ON sessions (seen_at);
CREATE INDEX sessions_created ON sessions (created_at);

CREATE TABLE tokens (
    token_hash BLOB NOT NULL PRIMARY KEY,
    person TEXT NOT NULL,
    name TEXT NOT NULL,
    created_at TEXT NOT NULL,
    last_used_at TEXT,
    expires_at TEXT,
    UNIQUE (person, name)
) STRICT, WITHOUT ROWID;

CREATE TABLE sign_in_failures (
    user_name TEXT NOT NULL PRIMARY KEY,
    count INTEGER NOT NULL,
    last_at TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX sign_in_failures_last ON sign_in_failures (last_at);

CREATE TABLE settings (
    name TEXT NOT NULL PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
