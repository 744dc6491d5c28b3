-- Run once in the service's database by an administrator of PostgreSQL. The owner migrates; the service itself may read
-- and write rows, and cannot drop the triggers that refuse changes to records, nor truncate or alter a table.
REVOKE CREATE ON SCHEMA public FROM PUBLIC;
GRANT USAGE, CREATE ON SCHEMA public TO wrapledger_owner;
GRANT USAGE ON SCHEMA public TO wrapledger;
ALTER DEFAULT PRIVILEGES FOR ROLE wrapledger_owner IN SCHEMA public
    GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO wrapledger;
ALTER DEFAULT PRIVILEGES FOR ROLE wrapledger_owner IN SCHEMA public
    GRANT USAGE, SELECT ON SEQUENCES TO wrapledger;
