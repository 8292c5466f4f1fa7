-- Expungement by order of a court: the one lawful way in which a payload goes. The header, its place and its proof stay.

-- Which payloads are gone, by which event, and what is left of each: the fields that later events stand on, as that
-- event says. An event is only named here where the expungement's own payload names it.
CREATE TABLE expunged (
    seq bigint PRIMARY KEY REFERENCES events (seq),
    by_seq bigint NOT NULL REFERENCES events (seq),
    remains bytea NOT NULL
);

-- What is still to be removed outside of the ledger's tables: digests of files, and the raw bytes of the database.
CREATE TABLE removals (
    what text COLLATE "C" PRIMARY KEY,
    by_seq bigint NOT NULL
);

CREATE FUNCTION named_by_order() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $guard$
DECLARE
    named boolean;
BEGIN
    EXECUTE format(
        'SELECT $1 < $2
            AND NOT EXISTS (SELECT 1 FROM %1$I.events WHERE seq = $1
                            AND convert_from(header, ''UTF8'')::jsonb ->> ''kind'' LIKE ''expungement.%%'')
            AND EXISTS (SELECT 1 FROM %1$I.events WHERE seq = $2
                        AND convert_from(header, ''UTF8'')::jsonb ->> ''kind'' = ''expungement.carried-out'')
            AND EXISTS (SELECT 1 FROM %1$I.event_payloads WHERE seq = $2
                        AND convert_from(fields, ''UTF8'')::jsonb -> ''events'' @> to_jsonb($1))',
        TG_TABLE_SCHEMA
    ) INTO named USING NEW.seq, NEW.by_seq;
    IF named IS NOT TRUE THEN
        RAISE EXCEPTION '% only holds what an expungement before it names', TG_TABLE_NAME USING ERRCODE = 'LL001';
    END IF;
    RETURN NEW;
END
$guard$;

CREATE FUNCTION only_by_order() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $guard$
DECLARE
    named boolean;
BEGIN
    EXECUTE format('SELECT EXISTS (SELECT 1 FROM %I.expunged WHERE seq = $1)', TG_TABLE_SCHEMA)
        INTO named USING OLD.seq;
    IF named IS NOT TRUE THEN
        RAISE EXCEPTION '% only grows: no row is removed but by an expungement', TG_TABLE_NAME USING ERRCODE = 'LL001';
    END IF;
    RETURN OLD;
END
$guard$;

-- What was expunged does not come back.
CREATE FUNCTION stays_expunged() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $guard$
DECLARE
    again bigint;
BEGIN
    EXECUTE format('SELECT count(*) FROM %I.expunged WHERE seq IN (SELECT seq FROM arrived)', TG_TABLE_SCHEMA) INTO again;
    IF again > 0 THEN
        RAISE EXCEPTION '% only grows: this payload was expunged', TG_TABLE_NAME USING ERRCODE = 'LL001';
    END IF;
    RETURN NULL;
END
$guard$;

CREATE TRIGGER expunged_by_order BEFORE INSERT ON expunged
    FOR EACH ROW EXECUTE FUNCTION named_by_order();
ALTER TABLE expunged ENABLE ALWAYS TRIGGER expunged_by_order;

CREATE TRIGGER expunged_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON expunged
    FOR EACH STATEMENT EXECUTE FUNCTION only_grows();
ALTER TABLE expunged ENABLE ALWAYS TRIGGER expunged_no_change;

DROP TRIGGER event_payloads_no_change ON event_payloads;
CREATE TRIGGER event_payloads_no_change BEFORE UPDATE OR TRUNCATE ON event_payloads
    FOR EACH STATEMENT EXECUTE FUNCTION only_grows();
ALTER TABLE event_payloads ENABLE ALWAYS TRIGGER event_payloads_no_change;

CREATE TRIGGER event_payloads_by_order BEFORE DELETE ON event_payloads
    FOR EACH ROW EXECUTE FUNCTION only_by_order();
ALTER TABLE event_payloads ENABLE ALWAYS TRIGGER event_payloads_by_order;

CREATE TRIGGER event_payloads_not_again AFTER INSERT ON event_payloads
    REFERENCING NEW TABLE AS arrived FOR EACH STATEMENT EXECUTE FUNCTION stays_expunged();
ALTER TABLE event_payloads ENABLE ALWAYS TRIGGER event_payloads_not_again;
