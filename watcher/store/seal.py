"""What keeps entries of application records as they were written: triggers of the database.

They stop every program that writes through the database, this one too. They do not stop somebody
who owns the file and takes them away: that is what the chain of hashes shows.
"""

from sqlalchemy import DDL, Table, event

_IN_FILE = (
    """CREATE TRIGGER record_entry_no_update BEFORE UPDATE ON record_entry
BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction'); END""",
    """CREATE TRIGGER record_entry_no_delete BEFORE DELETE ON record_entry
BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction'); END""",
    # INSERT OR REPLACE takes the old row away without a DELETE that a trigger would see.
    """CREATE TRIGGER record_entry_no_replace BEFORE INSERT ON record_entry
WHEN EXISTS (SELECT 1 FROM record_entry
WHERE farm = NEW.farm
AND (number = NEW.number OR previous = NEW.previous OR hash = NEW.hash))
BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction'); END""",
)
_ON_SERVER = (
    """CREATE OR REPLACE FUNCTION record_entry_refuse() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'records are append-only: write a correction'; END $$""",
    """CREATE TRIGGER record_entry_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON record_entry
FOR EACH STATEMENT EXECUTE FUNCTION record_entry_refuse()""",
)
SEAL: dict[str, tuple[str, ...]] = {"sqlite": _IN_FILE, "postgresql": _ON_SERVER}
"""What makes the table append-only, by database."""


def seal(table: Table) -> None:
    """Have the triggers made whenever the table is."""
    for database, statements in SEAL.items():
        for statement in statements:
            event.listen(table, "after_create", DDL(statement).execute_if(dialect=database))  # type: ignore[no-untyped-call]
