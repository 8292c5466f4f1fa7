-- Expungement by order of a court: the one lawful way in which a payload goes. The header, its place and its proof stay.

-- Which payloads are gone, by which event, and what is left of each: the fields that later events stand on, as that
-- event says. An event is only named here where the expungement's own payload names it.
CREATE TABLE expunged (
    seq INTEGER PRIMARY KEY REFERENCES events (seq),
    by_seq INTEGER NOT NULL REFERENCES events (seq),
    remains BLOB NOT NULL
) STRICT;

-- What is still to be removed outside of the ledger's tables: digests of files, and the raw bytes of the database.
CREATE TABLE removals (
    what TEXT NOT NULL PRIMARY KEY,
    by_seq INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TRIGGER expunged_by_order BEFORE INSERT ON expunged BEGIN
    SELECT RAISE(ABORT, 'expunged only grows: this event is there already')
    WHERE EXISTS (SELECT 1 FROM expunged WHERE seq = NEW.seq);
    SELECT RAISE(ABORT, 'expunged only holds what an expungement before it names')
    WHERE NEW.seq >= NEW.by_seq
       OR EXISTS (SELECT 1 FROM events WHERE seq = NEW.seq
                  AND json_extract(CAST(header AS TEXT), '$.kind') LIKE 'expungement.%')
       OR NOT EXISTS (SELECT 1 FROM events WHERE seq = NEW.by_seq
                      AND json_extract(CAST(header AS TEXT), '$.kind') = 'expungement.carried-out')
       OR NOT EXISTS (SELECT 1 FROM event_payloads p, json_each(CAST(p.fields AS TEXT), '$.events') named
                      WHERE p.seq = NEW.by_seq AND named.value = NEW.seq);
END;
CREATE TRIGGER expunged_no_update BEFORE UPDATE ON expunged BEGIN
    SELECT RAISE(ABORT, 'expunged only grows: no row is changed');
END;
CREATE TRIGGER expunged_no_delete BEFORE DELETE ON expunged BEGIN
    SELECT RAISE(ABORT, 'expunged only grows: no row is removed');
END;

DROP TRIGGER event_payloads_no_replace;
CREATE TRIGGER event_payloads_no_replace BEFORE INSERT ON event_payloads BEGIN
    SELECT RAISE(ABORT, 'event_payloads only grows: this payload is already there')
    WHERE EXISTS (SELECT 1 FROM event_payloads WHERE seq = NEW.seq);
    SELECT RAISE(ABORT, 'event_payloads only grows: this payload was expunged')
    WHERE EXISTS (SELECT 1 FROM expunged WHERE seq = NEW.seq);
END;
DROP TRIGGER event_payloads_no_delete;
CREATE TRIGGER event_payloads_no_delete BEFORE DELETE ON event_payloads
WHEN NOT EXISTS (SELECT 1 FROM expunged WHERE seq = OLD.seq) BEGIN
    SELECT RAISE(ABORT, 'event_payloads only grows: no row is removed but by an expungement');
END;
