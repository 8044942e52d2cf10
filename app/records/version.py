"""The form of the database: made on first use, brought up to date, never taken back."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from app.records.engine import reading, writing
from app.records.errors import NewerVersionError, NotARecordError

#: The newest form this software knows; the migrations folder ends with it.
HEAD = "0002"
KNOWN = (None, "0001", "0002")
_MIGRATIONS = Path(__file__).with_name("migrations")
_LOCK = 5_824_301  # any fixed number: stations that open at once take turns


def bring_up_to_date(engine: Engine) -> None:
    """Make or migrate the database where needed; refuse what is newer or not ours."""
    with reading(engine) as connection:
        if _checked_version(connection) == HEAD:
            return
    with writing(engine) as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": _LOCK})
        if _checked_version(connection) != HEAD:
            _migrate(connection)


def _checked_version(connection: Connection) -> str | None:
    tables = set(inspect(connection).get_table_names())
    if "alembic_version" not in tables:
        if tables:
            raise NotARecordError(
                "This database holds something else than a record of this software; choose "
                "another data folder or database.")
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if found not in KNOWN:
        raise NewerVersionError(
            f"This record was written by a newer version of the software (form {found}, this one "
            f"knows up to {HEAD}). Nothing was changed; update this station.")
    return found


def _migrate(connection: Connection) -> None:
    # Imported here: alembic is only needed when there is something to migrate.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
