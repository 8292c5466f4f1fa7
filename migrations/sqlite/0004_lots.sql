-- By which lot of which medium an item was made, as one text: the medium, a slash, the lot without outer spaces and in
-- capitals. Derived from the document like the columns beside it; filled in here for documents that are there already.
ALTER TABLE docs ADD COLUMN lot TEXT;
UPDATE docs
SET lot = json_extract(doc, '$.recovered.medium') || '/' || upper(trim(json_extract(doc, '$.recovered.lot')))
WHERE kind = 'item' AND trim(json_extract(doc, '$.recovered.lot')) <> '';
CREATE INDEX docs_lot ON docs (lot, subject) WHERE lot IS NOT NULL;
