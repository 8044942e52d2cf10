"""The form of the database: made on first use, brought up to date, never taken back."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from app.records.engine import reading, writing
from app.records.errors import DamagedError, NewerVersionError, NotARecordError
from app.records.faults import CANNOT_READ

#: The newest form this software knows; the migrations folder ends with it.
HEAD = "0004"
KNOWN = ("0001", "0002", "0003", "0004")
#: The first form whose entries are signed.
SIGNED_FROM = "0003"
_MIGRATIONS = Path(__file__).with_name("migrations")
_LOCK = 5_824_301  # any fixed number: stations that open at once take turns


def bring_up_to_date(engine: Engine, *, create: bool) -> str:
    """Make or migrate the database where needed; refuse what is newer or not ours.

    The form that it has then.  ``create`` False changes nothing: an older form is told,
    and NotARecordError is raised where there is none.
    """
    with reading(engine) as connection:
        found = _checked_version(connection)
    if found == HEAD:
        return HEAD
    if not create:
        if found is None:
            raise NotARecordError("There is no record there: the file or database is empty.")
        return found
    with writing(engine) as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": _LOCK})
        if _checked_version(connection) != HEAD:
            migrate(connection, HEAD)
    return HEAD


def _checked_version(connection: Connection) -> str | None:
    tables = set(inspect(connection).get_table_names())
    if "alembic_version" not in tables:
        if tables:
            raise NotARecordError(
                "This database holds something else than a record of this software; choose "
                "another data folder or database.")
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if found is None:
        raise DamagedError(CANNOT_READ)
    if found not in KNOWN:
        raise NewerVersionError(
            f"This record was written by a newer version of the software (form {found}, this one "
            f"knows up to {HEAD}). Nothing was changed; update this station.")
    return str(found)


def migrate(connection: Connection, form: str) -> None:
    """Take the database from any older form, or none, to this one."""
    # Imported here: alembic is only needed when there is something to migrate.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS))
    config.attributes["connection"] = connection
    command.upgrade(config, form)
