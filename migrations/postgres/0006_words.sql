-- By which words a subject is found. Derived from its document in the same transaction; the program fills it in for documents
-- that are there already. Of what belongs to a restricted case there is none.
CREATE TABLE words (
    subject text COLLATE "C" NOT NULL,
    word text COLLATE "C" NOT NULL,
    kind text COLLATE "C" NOT NULL,
    PRIMARY KEY (subject, word)
);
-- A word's own rows stand first where words that begin with it are asked for, the newest subject first.
CREATE INDEX words_word ON words (kind, word, subject DESC);
