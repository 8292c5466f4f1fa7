-- The ledger: four tables that only ever grow.
--
-- Each has a guard against UPDATE, DELETE and TRUNCATE, which refuses the statement before it looks at any row. A row
-- that is there already is refused by its key; there is no INSERT that replaces. Events have a second guard: no gap.
-- All guards are ENABLE ALWAYS, so that they also stand where a session calls itself a replica.
-- Whoever owns the tables can drop the guards; so the server's own role should not, and the verifier looks at them.
--
-- Texts are compared byte by byte (COLLATE "C"), as cursors of lists and times in RFC 3339 need it.

CREATE TABLE events (
    seq bigint PRIMARY KEY,
    id text COLLATE "C" NOT NULL UNIQUE,
    header bytea NOT NULL
);

CREATE TABLE event_payloads (
    seq bigint PRIMARY KEY REFERENCES events (seq),
    salt bytea NOT NULL,
    fields bytea NOT NULL
);

CREATE TABLE tree_nodes (
    level bigint NOT NULL CHECK (level >= 0),
    idx bigint NOT NULL CHECK (idx >= 0),
    hash bytea NOT NULL CHECK (length(hash) = 32),
    PRIMARY KEY (level, idx)
);

CREATE TABLE checkpoints (
    size bigint PRIMARY KEY CHECK (size >= 0),
    note text NOT NULL
);

-- The search path is fixed and the table is named in full, so that no temporary table of a session stands in for it.
CREATE FUNCTION only_grows() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $guard$
BEGIN
    RAISE EXCEPTION '% only grows: no row is %', TG_TABLE_NAME,
        CASE TG_OP WHEN 'UPDATE' THEN 'changed' ELSE 'removed' END
        USING ERRCODE = 'LL001';
END
$guard$;

-- Events follow each other without a gap: what one statement brings begins right behind the last, and nothing is
-- behind it.
CREATE FUNCTION next_in_line() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $guard$
DECLARE
    lowest bigint;
    highest bigint;
    fresh bigint;
    before bigint;
    top bigint;
BEGIN
    SELECT min(seq), max(seq), count(*) INTO lowest, highest, fresh FROM arrived;
    IF fresh = 0 THEN
        RETURN NULL;
    END IF;
    EXECUTE format(
        'SELECT (SELECT coalesce(max(seq), 0) FROM %1$I.%2$I WHERE seq < $1), (SELECT max(seq) FROM %1$I.%2$I)',
        TG_TABLE_SCHEMA, TG_TABLE_NAME
    ) INTO before, top USING lowest;
    IF lowest <> before + 1 OR highest <> lowest + fresh - 1 OR top <> highest THEN
        RAISE EXCEPTION '% only grows: the next event takes the next number', TG_TABLE_NAME USING ERRCODE = 'LL001';
    END IF;
    RETURN NULL;
END
$guard$;

CREATE TRIGGER events_no_gap AFTER INSERT ON events
    REFERENCING NEW TABLE AS arrived FOR EACH STATEMENT EXECUTE FUNCTION next_in_line();
ALTER TABLE events ENABLE ALWAYS TRIGGER events_no_gap;

CREATE TRIGGER events_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON events
    FOR EACH STATEMENT EXECUTE FUNCTION only_grows();
ALTER TABLE events ENABLE ALWAYS TRIGGER events_no_change;

CREATE TRIGGER event_payloads_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON event_payloads
    FOR EACH STATEMENT EXECUTE FUNCTION only_grows();
ALTER TABLE event_payloads ENABLE ALWAYS TRIGGER event_payloads_no_change;

CREATE TRIGGER tree_nodes_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON tree_nodes
    FOR EACH STATEMENT EXECUTE FUNCTION only_grows();
ALTER TABLE tree_nodes ENABLE ALWAYS TRIGGER tree_nodes_no_change;

CREATE TRIGGER checkpoints_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON checkpoints
    FOR EACH STATEMENT EXECUTE FUNCTION only_grows();
ALTER TABLE checkpoints ENABLE ALWAYS TRIGGER checkpoints_no_change;
