"""Tables of the store, and the triggers that make them append-only.

``line`` holds the entry's canonical JSON, exactly as it was hashed and as it is exported; the other
columns only find it. Triggers refuse UPDATE and DELETE, and an INSERT that would not continue the
chain (so ``INSERT OR REPLACE``, which SQLite runs without delete triggers, is refused too).
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Connection,
    ForeignKey,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    insert,
    inspect,
    select,
    text,
)

from joblog.errors import StoreError

SCHEMA = 1  # raise when tables change; an older program then refuses instead of guessing

metadata = MetaData()

about = Table(
    "joblog_about",
    metadata,
    Column("name", String(32), primary_key=True),
    Column("value", String(64), nullable=False),
)
jobs = Table(
    "joblog_jobs",
    metadata,
    Column("id", String(36), primary_key=True),
)
entries = Table(
    "joblog_entries",
    metadata,
    Column("job", String(36), ForeignKey(jobs.c.id), nullable=False),
    Column("seq", Integer, nullable=False),
    Column("id", String(36), nullable=False, unique=True),
    Column("prev", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
    Column("line", Text, nullable=False),
    PrimaryKeyConstraint("job", "seq"),
)

_REFUSAL = "the record only grows: nothing in it is changed or deleted"
_BROKEN = "this entry does not continue the chain"

_CONTINUES = """
  NEW.seq = 1 + coalesce((SELECT max(seq) FROM joblog_entries WHERE job = NEW.job), -1)
  AND NEW.prev = coalesce(
    (SELECT hash FROM joblog_entries WHERE job = NEW.job AND seq = NEW.seq - 1), '{genesis}')
""".format(genesis="0" * 64)


def _sqlite_triggers() -> list[str]:
    statements = [
        f"CREATE TRIGGER joblog_keep_{table}_{verb.lower()} BEFORE {verb} ON joblog_{table} "
        f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
        for table in ("entries", "jobs")
        for verb in ("UPDATE", "DELETE")
    ]
    statements.append(
        "CREATE TRIGGER joblog_chain BEFORE INSERT ON joblog_entries "
        f"WHEN NOT ({_CONTINUES}) BEGIN SELECT RAISE(ABORT, '{_BROKEN}'); END"
    )
    statements.append(
        "CREATE TRIGGER joblog_one_job BEFORE INSERT ON joblog_jobs "
        "WHEN EXISTS (SELECT 1 FROM joblog_jobs WHERE id = NEW.id) "
        f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
    )
    return statements


def _postgresql_triggers() -> list[str]:
    statements = [
        "CREATE FUNCTION joblog_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{_REFUSAL}'; END $$",
        "CREATE FUNCTION joblog_continues() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN IF NOT ({_CONTINUES}) THEN RAISE unique_violation USING MESSAGE = '{_BROKEN}'; "
        "END IF; RETURN NEW; END $$",
        "CREATE TRIGGER joblog_chain BEFORE INSERT ON joblog_entries "
        "FOR EACH ROW EXECUTE FUNCTION joblog_continues()",
    ]
    statements += [
        f"CREATE TRIGGER joblog_keep_{table}_{verb.split()[0].lower()} BEFORE {verb} "
        f"ON joblog_{table} FOR EACH STATEMENT EXECUTE FUNCTION joblog_refuse()"
        for table in ("entries", "jobs")
        for verb in ("UPDATE OR DELETE", "TRUNCATE")
    ]
    return statements


def prepare(connection: Connection) -> None:
    """Create the tables and triggers in one transaction, or check that they are ours.

    Raises StoreError for a store written by a newer joblog.
    """
    if connection.dialect.name == "postgresql":
        # two programs starting at once: the second waits until the first has created everything
        connection.execute(text("SELECT pg_advisory_xact_lock(7238746)"))
    if inspect(connection).has_table(about.name):
        found = connection.scalar(select(about.c.value).where(about.c.name == "schema"))
        if found != str(SCHEMA):
            raise StoreError(
                f"this store has the layout {found}, this joblog knows {SCHEMA}; use the newer one"
            )
        return
    metadata.create_all(connection)
    postgresql = connection.dialect.name == "postgresql"
    for statement in _postgresql_triggers() if postgresql else _sqlite_triggers():
        connection.exec_driver_sql(statement)
    connection.execute(insert(about).values(name="schema", value=str(SCHEMA)))
