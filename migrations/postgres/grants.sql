-- What the servers' own role needs, and no more: it owns no table and no guard, so it can neither drop nor disable one.
-- Run as the owner of the schema, after the schema was made and after every upgrade.

GRANT USAGE ON SCHEMA liftledger TO "ROLE";
GRANT SELECT ON ALL TABLES IN SCHEMA liftledger TO "ROLE";

-- The ledger grows.
GRANT INSERT ON liftledger.events, liftledger.event_payloads, liftledger.tree_nodes, liftledger.checkpoints TO "ROLE";
GRANT INSERT ON liftledger.commands TO "ROLE";

-- Expungement: a guard lets payloads go only where an event of the ledger names them. What a command's answer was known
-- by goes with them.
GRANT INSERT ON liftledger.expunged TO "ROLE";
GRANT DELETE ON liftledger.event_payloads TO "ROLE";
GRANT UPDATE (fingerprint) ON liftledger.commands TO "ROLE";
GRANT INSERT, DELETE ON liftledger.removals TO "ROLE";

-- Read models and signing in.
GRANT INSERT, UPDATE, DELETE ON liftledger.touches, liftledger.docs, liftledger.seals, liftledger.words TO "ROLE";
GRANT INSERT, UPDATE, DELETE ON liftledger.credentials, liftledger.sessions, liftledger.tokens TO "ROLE";
GRANT INSERT, UPDATE, DELETE ON liftledger.sign_in_failures, liftledger.settings TO "ROLE";
