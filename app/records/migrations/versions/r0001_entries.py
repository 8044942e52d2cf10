"""One chain of entries, guarded by the database itself."""

from __future__ import annotations

from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_ZEROS = "0" * 64
_KINDS = ("volume-reading", "level-check", "setting-check", "order", "event", "skipped-step",
          "correction", "withdrawal")
_EVENTS = ("chamber-emptied", "bag-changed", "drain-closed", "drain-opened", "sample-taken",
           "position-changed")


def upgrade() -> None:
    """Create the table, its checks, its triggers and the view of what stands."""
    dialect = op.get_bind().dialect.name
    run = op.get_bind().exec_driver_sql
    run(_table(dialect))
    run("CREATE INDEX entry_bed_happened ON entry (bed, happened_utc)")
    run(_STANDING)
    for statement in _SQLITE_GUARDS if dialect == "sqlite" else _POSTGRESQL_GUARDS:
        run(statement)


def downgrade() -> None:
    """There is no way back."""
    raise NotImplementedError("A record is never taken back to an older form.")


def _one_of(column: str, values: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(v) for v in values)})"


def _decimal(dialect: str, column: str) -> str:
    """A plain decimal number as text: no infinity, no NaN, no exponent, no nonsense."""
    if dialect == "postgresql":
        return f"{column} IS NULL OR {column} ~ '^-?[0-9]{{1,6}}(\\.[0-9]{{1,6}})?$'"
    return (f"{column} IS NULL OR (({column} GLOB '[0-9]*' OR {column} GLOB '-[0-9]*')"
            f" AND substr({column}, 2) NOT GLOB '*[^0-9.]*' AND {column} NOT GLOB '*.*.*'"
            f" AND {column} NOT GLOB '*.' AND CAST({column} AS REAL) BETWEEN -999999 AND 999999)")


def _in_range(dialect: str) -> str:
    value = "CAST(confirmed_value AS REAL)" if dialect == "sqlite" else (
        "(CASE WHEN confirmed_value ~ '^-?[0-9.]+$' THEN confirmed_value::numeric END)")
    return (f"confirmed_value IS NULL OR (unit = 'mL' AND {value} BETWEEN 0 AND 5000)"
            f" OR (unit IN ('cm', 'cm[H2O]', 'mm[Hg]') AND {value} BETWEEN -300 AND 300)")


def _utc(dialect: str, column: str) -> str:
    if dialect == "postgresql":
        return f"{column} ~ '^[0-9]{{4}}-[01][0-9]-[0-3][0-9]T[0-2][0-9]:[0-5][0-9]:" \
               "[0-6][0-9]\\.[0-9]{3}Z$'"
    d = "[0-9]"
    return (f"{column} GLOB '{d * 4}-[01]{d}-[0-3]{d}T[0-2]{d}:[0-5]{d}:[0-6]{d}.{d * 3}Z'")


def _hex(dialect: str, column: str) -> str:
    if dialect == "postgresql":
        return f"{column} ~ '^[0-9a-f]{{64}}$'"
    return f"length({column}) = 64 AND {column} NOT GLOB '*[^0-9a-f]*'"


def _yes_no(column: str) -> str:
    return f"{column} IS NULL OR {column} IN (0, 1)"


def _table(dialect: str) -> str:
    attested = ("outlet_closed", "hanging_plumb", "patient_undisturbed", "right_chamber_and_scale")
    checks = {
        "signed": "length(trim(initials)) BETWEEN 1 AND 8",
        "for_a_bed": "length(trim(bed)) BETWEEN 1 AND 24",
        "has_key": "length(key) BETWEEN 1 AND 100",
        "kind_known": _one_of("kind", _KINDS),
        "subject_known": _one_of("subject", _KINDS[:6]),
        "subject_fits": "kind IN ('correction', 'withdrawal') OR subject = kind",
        "event_named": f"(subject = 'event') = (event IS NOT NULL) AND (event IS NULL OR "
                       f"{_one_of('event', _EVENTS)})",
        "names_old_entry": "(kind IN ('correction', 'withdrawal')) = (refers_to IS NOT NULL)",
        "has_reason": "(kind NOT IN ('correction', 'withdrawal', 'skipped-step')) OR "
                      "(reason IS NOT NULL AND length(trim(reason)) > 0)",
        "unit_known": "unit IS NULL OR unit IN ('mL', 'cm', 'cm[H2O]', 'mm[Hg]')",
        "value_in_range": _in_range(dialect),
        "offsets": "abs(happened_offset_min) <= 840 AND abs(recorded_offset_min) <= 840",
        "happened_when": _utc(dialect, "happened_utc"),
        "recorded_when": _utc(dialect, "recorded_utc"),
        "machine_said": "machine_status IS NULL OR "
                        + _one_of("machine_status", ("read", "refused", "below-scale",
                                                     "above-scale")),
        "machine_value_only_when_read": "machine_value IS NULL OR machine_status = 'read'",
        "first_said": "first_read IS NULL OR first_read IN ('read', 'skipped')",
        "first_has_value": "(first_value IS NOT NULL) = (coalesce(first_read, '') = 'read')",
        "reading_is_whole": "kind = 'withdrawal' OR subject <> 'volume-reading' OR ("
                            "confirmed_value IS NOT NULL AND unit = 'mL' AND scale IS NOT NULL "
                            "AND first_read IS NOT NULL AND outlet_closed IS NOT NULL AND "
                            "hanging_plumb IS NOT NULL AND patient_undisturbed IS NOT NULL AND "
                            "coalesce(right_chamber_and_scale, 0) = 1)",
        "setting_is_whole": "kind = 'withdrawal' OR subject <> 'setting-check' OR ("
                            "confirmed_value IS NOT NULL AND unit IN ('cm[H2O]', 'mm[Hg]'))",
        "photo_hash": f"photo_sha256 IS NULL OR ({_hex(dialect, 'photo_sha256')})",
        "linked": _hex(dialect, "previous_hash"),
        "hashed": _hex(dialect, "hash"),
        "clock_checked_said": "clock_checked IN (0, 1)",
        **{f"{c}_said": _yes_no(c) for c in attested},
        **{f"{c}_plain": _decimal(dialect, c) for c in (
            "machine_value", "machine_low", "machine_high", "first_value", "confirmed_value")},
    }
    must = {"key", "kind", "subject", "bed", "initials", "happened_utc", "happened_offset_min",
            "recorded_utc", "recorded_offset_min", "clock_checked", "flags", "note", "payload",
            "software_version", "previous_hash", "hash"}
    whole = {"happened_offset_min", "recorded_offset_min", "clock_checked", "refers_to", *attested}
    columns = ["number INTEGER NOT NULL PRIMARY KEY"]
    for name in _COLUMNS:
        columns.append(f"{name} {'INTEGER' if name in whole else 'TEXT'}"
                       + (" NOT NULL" if name in must else ""))
    # A check that comes out as "unknown" (NULL) would pass; here it fails.
    rules = [f"CONSTRAINT {name} CHECK (coalesce(({rule}), FALSE))"
             for name, rule in checks.items()]
    rules += ["CONSTRAINT one_entry_per_key UNIQUE (key)",
              "CONSTRAINT superseded_once UNIQUE (refers_to)",
              "CONSTRAINT hash_once UNIQUE (hash)",
              "CONSTRAINT old_entry_exists FOREIGN KEY (refers_to) REFERENCES entry (number)"]
    body = ",\n  ".join(columns + rules)
    return f"CREATE TABLE entry (\n  {body}\n)" + (" STRICT" if dialect == "sqlite" else "")


_COLUMNS = (
    "key", "kind", "subject", "event", "bed", "initials", "identity", "happened_utc",
    "happened_offset_min", "recorded_utc", "recorded_offset_min", "clock_checked",
    "machine_status", "machine_value", "machine_low", "machine_high", "flags", "first_read",
    "first_value", "confirmed_value", "unit", "scale", "photo_sha256", "outlet_closed",
    "hanging_plumb", "patient_undisturbed", "right_chamber_and_scale", "refers_to", "reason",
    "note", "payload", "software_version", "previous_hash", "hash",
)

# What stands now: neither corrected nor withdrawn.
_STANDING = """
CREATE VIEW standing_entry AS
SELECT e.* FROM entry e
WHERE e.kind <> 'withdrawal'
  AND NOT EXISTS (SELECT 1 FROM entry later WHERE later.refers_to = e.number)
"""

_REFERS_WRONGLY = """NEW.refers_to IS NOT NULL AND NOT EXISTS (
      SELECT 1 FROM entry named WHERE named.number = NEW.refers_to AND named.number < NEW.number
        AND named.bed = NEW.bed AND named.subject = NEW.subject AND named.kind <> 'withdrawal')"""

# INSERT OR REPLACE deletes the old row without firing a delete trigger unless
# recursive_triggers is on, which is a setting of the connection; so the insert
# trigger itself refuses every existing number, key and reference.
_SQLITE_GUARDS = (
    """CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN
  SELECT RAISE(ABORT, 'guard: an entry is never changed');
END""",
    """CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN
  SELECT RAISE(ABORT, 'guard: an entry is never deleted');
END""",
    f"""CREATE TRIGGER entry_insert_in_chain BEFORE INSERT ON entry BEGIN
  SELECT RAISE(ABORT, 'guard: key exists') WHERE EXISTS (
      SELECT 1 FROM entry WHERE key = NEW.key);
  SELECT RAISE(ABORT, 'guard: superseded already') WHERE EXISTS (
      SELECT 1 FROM entry WHERE refers_to = NEW.refers_to);
  SELECT RAISE(ABORT, 'guard: not the next number') WHERE NEW.number IS NOT
      (SELECT coalesce(max(number), 0) + 1 FROM entry);
  SELECT RAISE(ABORT, 'guard: not linked to the last entry') WHERE NEW.previous_hash IS NOT
      coalesce((SELECT hash FROM entry ORDER BY number DESC LIMIT 1), '{_ZEROS}');
  SELECT RAISE(ABORT, 'guard: names a wrong entry') WHERE {_REFERS_WRONGLY};
END""",
)

_POSTGRESQL_GUARDS = (
    """CREATE FUNCTION entry_never_changes() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'guard: an entry is never changed or deleted';
END $$""",
    """CREATE TRIGGER entry_no_change BEFORE UPDATE OR DELETE ON entry
FOR EACH ROW EXECUTE FUNCTION entry_never_changes()""",
    """CREATE TRIGGER entry_no_truncate BEFORE TRUNCATE ON entry
FOR EACH STATEMENT EXECUTE FUNCTION entry_never_changes()""",
    f"""CREATE FUNCTION entry_in_chain() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF EXISTS (SELECT 1 FROM entry WHERE key = NEW.key) THEN
    RAISE EXCEPTION 'guard: key exists'; END IF;
  IF EXISTS (SELECT 1 FROM entry WHERE refers_to = NEW.refers_to) THEN
    RAISE EXCEPTION 'guard: superseded already'; END IF;
  IF NEW.number IS DISTINCT FROM (SELECT coalesce(max(number), 0) + 1 FROM entry) THEN
    RAISE EXCEPTION 'guard: not the next number'; END IF;
  IF NEW.previous_hash IS DISTINCT FROM
      coalesce((SELECT hash FROM entry ORDER BY number DESC LIMIT 1), '{_ZEROS}') THEN
    RAISE EXCEPTION 'guard: not linked to the last entry'; END IF;
  IF {_REFERS_WRONGLY} THEN
    RAISE EXCEPTION 'guard: names a wrong entry'; END IF;
  RETURN NEW;
END $$""",
    """CREATE TRIGGER entry_insert_in_chain BEFORE INSERT ON entry
FOR EACH ROW EXECUTE FUNCTION entry_in_chain()""",
)
