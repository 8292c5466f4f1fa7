-- Read models: derived from events in the same transaction, and rebuilt from nothing at any time. Never evidence.

-- The events of a subject, counted 1, 2, 3 without a gap.
CREATE TABLE touches (
    subject TEXT NOT NULL,
    n INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    PRIMARY KEY (subject, n)
) STRICT, WITHOUT ROWID;
CREATE INDEX touches_seq ON touches (seq);

-- What a subject is now: a document, and beside it the columns that lists are made by.
CREATE TABLE docs (
    subject TEXT NOT NULL PRIMARY KEY,
    kind TEXT NOT NULL,
    case_id TEXT,
    number INTEGER,
    code TEXT UNIQUE,
    -- A user name, a case number, the name of a place: one of a kind.
    name TEXT,
    holder TEXT,
    inside TEXT,
    offer_to TEXT,
    due_at TEXT,
    place TEXT,
    active INTEGER NOT NULL,
    doc TEXT NOT NULL
) STRICT;
CREATE INDEX docs_kind ON docs (kind, subject);
CREATE UNIQUE INDEX docs_name ON docs (kind, name) WHERE name IS NOT NULL;
CREATE INDEX docs_case ON docs (case_id, kind, number, subject) WHERE case_id IS NOT NULL;
CREATE INDEX docs_offer_to ON docs (offer_to, subject) WHERE offer_to IS NOT NULL;
CREATE INDEX docs_holder ON docs (holder, kind, subject) WHERE holder IS NOT NULL;
CREATE INDEX docs_inside ON docs (inside, subject) WHERE inside IS NOT NULL;
CREATE INDEX docs_due ON docs (due_at, subject) WHERE due_at IS NOT NULL;
CREATE INDEX docs_place ON docs (place, subject) WHERE place IS NOT NULL;

-- Seal numbers are used once.
CREATE TABLE seals (
    number TEXT NOT NULL PRIMARY KEY,
    package TEXT NOT NULL,
    seq INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
