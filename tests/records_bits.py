"""Flip single bits of a record's file; count what the checks then say of a changed account.

``python tests/records_bits.py 3000 20260302`` (flips, seed) prints the figures; the suite runs
a short version.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from dataclasses import asdict, dataclass
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]
if __name__ == "__main__":
    os.environ["COUNTERSIGHT_KEY"] = f"{tempfile.mkdtemp()}/station.key"

from exports_help import evening  # noqa: E402
from records_help import at, happening, reading  # noqa: E402

from app.exports.account_text import account_json  # noqa: E402
from app.exports.fhir import write_bundle  # noqa: E402
from app.exports.table import write_csv  # noqa: E402
from app.records import RecordError, Store  # noqa: E402
from app.records.shift import bed_account  # noqa: E402
from vision.output import ShiftPlan, parse_starts  # noqa: E402

NOW, PLAN = at(24 * 60), ShiftPlan(parse_starts("07:00,19:00"))


@dataclass(frozen=True)
class Figures:
    """What a run came to: ``told`` is every flip that a check or an error named, the others
    left the ``same_account`` with "whole", or a ``changed`` one (none may)."""

    flips: int
    told_by_verify: int
    told_by_quick_check: int
    same_account: int
    changed_but_whole: int
    changed_but_whole_by_quick_check: int
    failed_inside: int


def make_record(folder: Path) -> Path:
    """Some sixty entries of two beds, all of them in the file itself."""
    store = evening(folder)
    for k in range(22):
        store.add(reading(f"{10 + k}.5", 200 + 30 * k, note=f"round {k}"))
        store.add(happening("bag-changed", 205 + 30 * k))
    file = folder / "record.sqlite3"
    connection = sqlite3.connect(file)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return file


def account(source: object, entries: object) -> str:
    """All that people see of the record: the accounts of the beds, the table, the bundle."""
    told = [account_json(bed_account(source, bed), NOW.local, PLAN) for bed in ("QUAY-3", "QUAY-4")]
    return json.dumps(told) + write_csv(entries) + write_bundle(
        source.current(withdrawn=True), now=NOW)


def flipped(folder: Path, flips: int, seed: int) -> Figures:
    """Flip one bit after another, each in a fresh copy."""
    file, rng = make_record(folder / "made"), random.Random(seed)
    data, anchor = file.read_bytes(), file.with_name(f"{file.name}.anchor")
    store = Store.open(file, create=False)
    assert store.verify().ok
    truth, quick = account(store, store.entries()), account(store, ())
    count: Counter[str] = Counter()
    for k in range(flips):
        here = folder / f"flip-{k}"
        here.mkdir()
        place, bit = rng.randrange(len(data)), rng.randrange(8)
        copy = bytearray(data)
        copy[place] ^= 1 << bit
        (here / file.name).write_bytes(copy)
        if anchor.exists():
            shutil.copy(anchor, here / anchor.name)
        try:
            _judge(here / file.name, truth, quick, count)
        except Exception as error:  # an error without a sentence of its own
            count["failed"] += 1
            print(f"byte {place} bit {bit}: {type(error).__name__}: {error}", file=sys.stderr)
        shutil.rmtree(here)
    return Figures(flips, count["verify"], count["quick"], count["same"], count["lies"],
                   count["quick lies"], count["failed"])


def _judge(file: Path, truth: str, quick: str, count: Counter[str]) -> None:
    try:
        store = Store.open(file, create=False, anchored=False)
        whole = store.verify().ok
    except RecordError:
        count["verify"] += 1
        count["quick"] += 1
        return
    # As the pages ask for it, through the indexes; what is told need not be asked for.
    shown = account(store, store.entries()) if whole else ""
    count["verify"] += not whole
    count["same"] += shown == truth
    count["lies"] += shown not in (truth, "")
    for signatures in (False, True):  # as "output" reads, and as "export" reads
        try:
            read = store.checked_read(signatures=signatures)
            shown = account(read, read.entries if signatures else ()) \
                if read.verification.ok else ""
        except RecordError:
            shown = ""
        count["quick"] += signatures and not shown
        count["quick lies"] += shown not in (truth if signatures else quick, "")


if __name__ == "__main__":
    number, seed = (int(a) for a in (sys.argv[1:] + ["3000", "20260302"][len(sys.argv) - 1:]))
    with tempfile.TemporaryDirectory() as place:
        print(json.dumps(asdict(flipped(Path(place), number, seed))))
