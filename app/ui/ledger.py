"""Where the pages find the record: the data folder that the launcher names."""

from __future__ import annotations

import os
from pathlib import Path

from app.records import Store
from app.settings import DATA_VARIABLE, data_dir


def place() -> str:
    """Where the record is: a database's address in COUNTERSIGHT_DATA, or a folder."""
    given = os.environ.get(DATA_VARIABLE, "").strip()
    return given if "://" in given else str(data_dir())


def data_folder() -> Path | None:
    """The folder that holds the record; None where it is in a database on a server."""
    return None if "://" in place() else Path(place())


def open_store() -> Store:
    """The record.  It is opened for each act, so that no session holds another's."""
    return Store.open(place())
