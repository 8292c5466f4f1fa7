-- The ledger: four tables that only ever grow.
--
-- Each has three guards. UPDATE and DELETE are refused outright. INSERT is refused where the key is already there,
-- because INSERT OR REPLACE removes the old row without waking the DELETE guard (recursive_triggers is off).
-- Whoever can change the schema can drop the guards; that they stand is looked at by the verifier.

CREATE TABLE events (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    header BLOB NOT NULL
) STRICT;

CREATE TABLE event_payloads (
    seq INTEGER PRIMARY KEY REFERENCES events (seq),
    salt BLOB NOT NULL,
    fields BLOB NOT NULL
) STRICT;

CREATE TABLE tree_nodes (
    level INTEGER NOT NULL CHECK (level >= 0),
    idx INTEGER NOT NULL CHECK (idx >= 0),
    hash BLOB NOT NULL CHECK (length(hash) = 32),
    PRIMARY KEY (level, idx)
) STRICT, WITHOUT ROWID;

CREATE TABLE checkpoints (
    size INTEGER PRIMARY KEY CHECK (size >= 0),
    note TEXT NOT NULL
) STRICT;

-- Events follow each other without a gap, so the next place is the only one free.
CREATE TRIGGER events_no_replace BEFORE INSERT ON events BEGIN
    SELECT RAISE(ABORT, 'events only grows: this event is already there')
    WHERE EXISTS (SELECT 1 FROM events WHERE seq = NEW.seq)
       OR EXISTS (SELECT 1 FROM events WHERE id = NEW.id);
    SELECT RAISE(ABORT, 'events only grows: the next event takes the next number')
    WHERE NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM events);
END;
CREATE TRIGGER events_no_update BEFORE UPDATE ON events BEGIN
    SELECT RAISE(ABORT, 'events only grows: no row is changed');
END;
CREATE TRIGGER events_no_delete BEFORE DELETE ON events BEGIN
    SELECT RAISE(ABORT, 'events only grows: no row is removed');
END;

CREATE TRIGGER event_payloads_no_replace BEFORE INSERT ON event_payloads BEGIN
    SELECT RAISE(ABORT, 'event_payloads only grows: this payload is already there')
    WHERE EXISTS (SELECT 1 FROM event_payloads WHERE seq = NEW.seq);
END;
CREATE TRIGGER event_payloads_no_update BEFORE UPDATE ON event_payloads BEGIN
    SELECT RAISE(ABORT, 'event_payloads only grows: no row is changed');
END;
CREATE TRIGGER event_payloads_no_delete BEFORE DELETE ON event_payloads BEGIN
    SELECT RAISE(ABORT, 'event_payloads only grows: no row is removed');
END;

CREATE TRIGGER tree_nodes_no_replace BEFORE INSERT ON tree_nodes BEGIN
    SELECT RAISE(ABORT, 'tree_nodes only grows: this node is already there')
    WHERE EXISTS (SELECT 1 FROM tree_nodes WHERE level = NEW.level AND idx = NEW.idx);
END;
CREATE TRIGGER tree_nodes_no_update BEFORE UPDATE ON tree_nodes BEGIN
    SELECT RAISE(ABORT, 'tree_nodes only grows: no row is changed');
END;
CREATE TRIGGER tree_nodes_no_delete BEFORE DELETE ON tree_nodes BEGIN
    SELECT RAISE(ABORT, 'tree_nodes only grows: no row is removed');
END;

CREATE TRIGGER checkpoints_no_replace BEFORE INSERT ON checkpoints BEGIN
    SELECT RAISE(ABORT, 'checkpoints only grows: this checkpoint is already there')
    WHERE EXISTS (SELECT 1 FROM checkpoints WHERE size = NEW.size);
END;
CREATE TRIGGER checkpoints_no_update BEFORE UPDATE ON checkpoints BEGIN
    SELECT RAISE(ABORT, 'checkpoints only grows: no row is changed');
END;
CREATE TRIGGER checkpoints_no_delete BEFORE DELETE ON checkpoints BEGIN
    SELECT RAISE(ABORT, 'checkpoints only grows: no row is removed');
END;
