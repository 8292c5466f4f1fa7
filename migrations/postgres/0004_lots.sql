-- By which lot of which medium an item was made, as one text: the medium, a slash, the lot without outer spaces and in
-- capitals. Derived from the document like the columns beside it; filled in here for documents that are there already.
-- The collation "C" makes capitals of ASCII letters only, as the program does.
ALTER TABLE docs ADD COLUMN lot text COLLATE "C";
UPDATE docs
SET lot = (doc::jsonb #>> '{recovered,medium}') || '/'
    || upper(trim(BOTH ' ' FROM doc::jsonb #>> '{recovered,lot}') COLLATE "C")
WHERE kind = 'item' AND trim(BOTH ' ' FROM doc::jsonb #>> '{recovered,lot}') <> '';
CREATE INDEX docs_lot ON docs (lot, subject) WHERE lot IS NOT NULL;
