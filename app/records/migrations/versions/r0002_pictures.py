"""Pictures of the chamber that a person chose to keep, guarded like the entries."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """A table of its own: the entry names the picture by its hash."""
    run = op.get_bind().exec_driver_sql
    sqlite = op.get_bind().dialect.name == "sqlite"
    hexadecimal = "length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'" if sqlite else \
        "sha256 ~ '^[0-9a-f]{64}$'"
    run(f"""CREATE TABLE picture (
  sha256 TEXT NOT NULL PRIMARY KEY,
  jpeg {'BLOB' if sqlite else 'BYTEA'} NOT NULL,
  CONSTRAINT picture_hash CHECK ({hexadecimal}),
  CONSTRAINT picture_size CHECK (length(jpeg) BETWEEN 100 AND 4000000)
)""" + (" STRICT" if sqlite else ""))
    for statement in _SQLITE if sqlite else _POSTGRESQL:
        run(statement)


def downgrade() -> None:
    """There is no way back."""
    raise NotImplementedError("A record is never taken back to an older form.")


_SQLITE = (
    """CREATE TRIGGER picture_no_update BEFORE UPDATE ON picture BEGIN
  SELECT RAISE(ABORT, 'guard: a picture is never changed');
END""",
    """CREATE TRIGGER picture_no_delete BEFORE DELETE ON picture BEGIN
  SELECT RAISE(ABORT, 'guard: a picture is never deleted');
END""",
    """CREATE TRIGGER picture_once BEFORE INSERT ON picture BEGIN
  SELECT RAISE(ABORT, 'guard: picture exists') WHERE EXISTS (
      SELECT 1 FROM picture WHERE sha256 = NEW.sha256);
END""",
)
_POSTGRESQL = (
    """CREATE TRIGGER picture_no_change BEFORE UPDATE OR DELETE ON picture
FOR EACH ROW EXECUTE FUNCTION entry_never_changes()""",
    """CREATE TRIGGER picture_no_truncate BEFORE TRUNCATE ON picture
FOR EACH STATEMENT EXECUTE FUNCTION entry_never_changes()""",
)
