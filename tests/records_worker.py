"""A station that confirms readings without end; the fault tests kill it.

Run as ``python tests/records_worker.py DATABASE STATION``; prints each form key
after the store said that it is on record, so that nothing printed may be missing.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

from records_help import BED, BY  # noqa: E402

from app.records import EventDraft, Store, confirm  # noqa: E402


def main(where: str, station: str) -> None:
    """Confirm until killed."""
    store = Store.open(where)
    n = 0
    while True:
        key = f"{station}-{n}"
        store.add(confirm(EventDraft("bag-changed"), by=BY, bed=BED, key=key))
        sys.stdout.write(key + "\n")
        sys.stdout.flush()
        n += 1


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
