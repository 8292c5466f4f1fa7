-- By which words a subject is found. Derived from its document in the same transaction; the program fills it in for documents
-- that are there already. Of what belongs to a restricted case there is none.
CREATE TABLE words (
    subject TEXT NOT NULL,
    word TEXT NOT NULL,
    kind TEXT NOT NULL,
    PRIMARY KEY (subject, word)
) STRICT, WITHOUT ROWID;
-- A word's own rows stand first where words that begin with it are asked for, the newest subject first.
CREATE INDEX words_word ON words (kind, word, subject DESC);
