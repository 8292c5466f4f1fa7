-- What is needed to run but is not evidence: answers to repeated commands, and signing in.

CREATE TABLE commands (
    id text COLLATE "C" NOT NULL PRIMARY KEY,
    fingerprint bytea NOT NULL,
    actor text COLLATE "C" NOT NULL,
    answer text NOT NULL,
    first_seq bigint NOT NULL,
    count bigint NOT NULL
);

CREATE TABLE credentials (
    person text COLLATE "C" NOT NULL PRIMARY KEY,
    phc text NOT NULL,
    changed_at text COLLATE "C" NOT NULL
);

-- Only the hash of a session's token is kept: a stolen copy of the database opens no session.
CREATE TABLE sessions (
    token_hash bytea NOT NULL PRIMARY KEY,
    person text COLLATE "C" NOT NULL,
    created_at text COLLATE "C" NOT NULL,
    seen_at text COLLATE "C" NOT NULL,
    theme text
);
CREATE INDEX sessions_person ON sessions (person);
CREATE INDEX sessions_seen ON sessions (seen_at);
CREATE INDEX sessions_created ON sessions (created_at);

CREATE TABLE tokens (
    token_hash bytea NOT NULL PRIMARY KEY,
    person text COLLATE "C" NOT NULL,
    name text COLLATE "C" NOT NULL,
    created_at text COLLATE "C" NOT NULL,
    last_used_at text COLLATE "C",
    expires_at text COLLATE "C",
    UNIQUE (person, name)
);

CREATE TABLE sign_in_failures (
    user_name text COLLATE "C" NOT NULL PRIMARY KEY,
    count bigint NOT NULL,
    last_at text COLLATE "C" NOT NULL
);
CREATE INDEX sign_in_failures_last ON sign_in_failures (last_at);

CREATE TABLE settings (
    name text COLLATE "C" NOT NULL PRIMARY KEY,
    value text NOT NULL
);
