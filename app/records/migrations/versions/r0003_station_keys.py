"""Entries are signed: a station's key is an entry itself, every entry names the key it is
signed with.  Entries made before stay as they are, without a signature."""

from __future__ import annotations

from alembic import op

from app.records.migrations.versions import r0001_entries as first

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

_KIND = "station-key"
_RULES = {
    "kind_known": first._one_of("kind", (*first._KINDS, _KIND)),
    "subject_known": first._one_of("subject", (*first._KINDS[:6], _KIND)),
    "station_is_no_bed": f"(kind = '{_KIND}') = (bed = '*')",
    "signed_or_not": "(signer IS NULL) = (signature IS NULL)",
}
#: What stands now, without the stations' keys.
STANDING = first._STANDING.replace("'withdrawal'\n", f"'withdrawal' AND e.kind <> '{_KIND}'\n")


def upgrade() -> None:
    """SQLite cannot change a check, so its table is made anew; the hashes of the chain show
    that every entry was carried over as it was."""
    run = op.get_bind().exec_driver_sql
    run("DROP VIEW standing_entry")
    if op.get_bind().dialect.name == "sqlite":
        for statement in first._SQLITE_GUARDS:
            run(f"DROP TRIGGER {statement.split()[2]}")
        run("ALTER TABLE entry RENAME TO entry_before")
        run(_table())
        columns = ", ".join(("number", *first._COLUMNS))
        run(f"INSERT INTO entry ({columns}) SELECT {columns} FROM entry_before ORDER BY number")
        run("DROP TABLE entry_before")
        run("CREATE INDEX entry_bed_happened ON entry (bed, happened_utc)")
        for statement in (*first._SQLITE_GUARDS[:2], _next_number(first._SQLITE_GUARDS[2])):
            run(statement)
    else:
        rules = {**_RULES, "signature_hex": "signature IS NULL OR signature ~ '^[0-9a-f]{128}$'"}
        run("ALTER TABLE entry ADD COLUMN signer INTEGER REFERENCES entry (number), "
            "ADD COLUMN signature TEXT, DROP CONSTRAINT kind_known, DROP CONSTRAINT subject_known, "
            + ", ".join(f"ADD CONSTRAINT {name} CHECK (coalesce(({rule}), FALSE))"
                        for name, rule in rules.items()))
        for statement in POSTGRESQL:
            run(statement)
    run(STANDING)


def downgrade() -> None:
    """There is no way back."""
    raise NotImplementedError("A record is never taken back to an older form.")


def _table() -> str:
    rules = {**_RULES, "signature_hex": "signature IS NULL OR (length(signature) = 128 AND "
                                        "signature NOT GLOB '*[^0-9a-f]*')"}
    added = ["signer INTEGER", "signature TEXT"]
    added += [f"CONSTRAINT {name} CHECK (coalesce(({rule}), FALSE))"
              for name, rule in rules.items()]
    added.append("CONSTRAINT signer_exists FOREIGN KEY (signer) REFERENCES entry (number)")
    lines = [line for line in first._table("sqlite").split(",\n  ")
             if not line.startswith(("CONSTRAINT kind_known", "CONSTRAINT subject_known"))]
    k = next(i for i, line in enumerate(lines) if line.startswith("CONSTRAINT"))
    return ",\n  ".join([*lines[:k], *added, *lines[k:]])


def _next_number(guard: str) -> str:
    """The key of a record's first station is its entry 0, so that what people confirm is
    counted from 1; later keys take the next number like any entry."""
    old = "(SELECT coalesce(max(number), 0) + 1 FROM entry)"
    assert old in guard
    return guard.replace(old, f"(SELECT coalesce(max(number) + 1, CASE NEW.kind WHEN '{_KIND}' "
                              "THEN 0 ELSE 1 END) FROM entry)")


POSTGRESQL = (_next_number(first._POSTGRESQL_GUARDS[3]).replace("CREATE", "CREATE OR REPLACE", 1),)
