-- Read models: derived from events in the same transaction, and rebuilt from nothing at any time. Never evidence.

-- The events of a subject, counted 1, 2, 3 without a gap.
CREATE TABLE touches (
    subject text COLLATE "C" NOT NULL,
    n bigint NOT NULL,
    seq bigint NOT NULL,
    PRIMARY KEY (subject, n)
);
CREATE INDEX touches_seq ON touches (seq);

-- What a subject is now: a document, and beside it the columns that lists are made by.
CREATE TABLE docs (
    subject text COLLATE "C" NOT NULL PRIMARY KEY,
    kind text COLLATE "C" NOT NULL,
    case_id text COLLATE "C",
    number bigint,
    code text COLLATE "C" UNIQUE,
    -- A user name, a case number, the name of a place: one of a kind.
    name text COLLATE "C",
    holder text COLLATE "C",
    inside text COLLATE "C",
    offer_to text COLLATE "C",
    due_at text COLLATE "C",
    place text COLLATE "C",
    active boolean NOT NULL,
    doc text NOT NULL
);
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
    number text COLLATE "C" NOT NULL PRIMARY KEY,
    package text COLLATE "C" NOT NULL,
    seq bigint NOT NULL
);
