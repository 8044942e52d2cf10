"""What a nurse also charts: the look of the fluid, why little came, who was told, dressing and
site, and that the drainage has ended."""

from __future__ import annotations

from alembic import op

from app.records.migrations.versions import r0001_entries as first
from app.records.migrations.versions import r0003_station_keys as before

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_EVENTS = (*first._EVENTS, "fluid-seen", "little-output", "person-told", "dressing-seen",
           "drainage-ended")
_RULE = ("(subject = 'event') = (event IS NOT NULL) AND (event IS NULL OR "
         f"{first._one_of('event', _EVENTS)})")
_NAMED = f"CONSTRAINT event_named CHECK (coalesce(({_RULE}), FALSE))"
_COLUMNS = ", ".join(("number", *first._COLUMNS, "signer", "signature"))


def upgrade() -> None:
    """More names of events; on SQLite the table is made anew, as before."""
    run = op.get_bind().exec_driver_sql
    run("DROP VIEW standing_entry")
    if op.get_bind().dialect.name == "sqlite":
        for statement in first._SQLITE_GUARDS:
            run(f"DROP TRIGGER {statement.split()[2]}")
        run("ALTER TABLE entry RENAME TO entry_before")
        run(_table())
        run(f"INSERT INTO entry ({_COLUMNS}) SELECT {_COLUMNS} FROM entry_before ORDER BY number")
        run("DROP TABLE entry_before")
        run("CREATE INDEX entry_bed_happened ON entry (bed, happened_utc)")
        for statement in (*first._SQLITE_GUARDS[:2], before._next_number(first._SQLITE_GUARDS[2])):
            run(statement)
    else:
        run(f"ALTER TABLE entry DROP CONSTRAINT event_named, ADD {_NAMED}")
    run(before.STANDING)


def downgrade() -> None:
    """There is no way back."""
    raise NotImplementedError("A record is never taken back to an older form.")


def _table() -> str:
    lines = before._table().split(",\n  ")
    k = next(i for i, line in enumerate(lines) if line.startswith("CONSTRAINT event_named"))
    return ",\n  ".join([*lines[:k], _NAMED, *lines[k + 1:]])
