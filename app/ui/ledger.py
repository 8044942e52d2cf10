"""Where the pages find the record: the data folder that the launcher names, or, for a
session that tries the demo bed, a folder of its own that goes away with the session."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import streamlit as st

from app.demo_bed import DEMO_BED, WardStore, open_demo
from app.records import Store
from app.settings import DATA_VARIABLE, data_dir
from app.ui import kept

_DEMO = "demo_folder"


def in_demo() -> bool:
    """Does this session try the demo bed?  Then nothing of it comes near the ward's record."""
    return _DEMO in st.session_state


def begin_demo() -> None:
    """A demo bed for this session; its folder goes with the session at the latest."""
    if in_demo():
        return
    _forget_demo()  # a demo bed before
    st.session_state[_DEMO] = tempfile.TemporaryDirectory(
        prefix="countersight-demo-", ignore_cleanup_errors=True)


def end_demo() -> None:
    """Throw the demo bed away, and what the pages still know of it."""
    if in_demo():
        st.session_state[_DEMO].cleanup()
    _forget_demo()
    st.session_state.clear()
    st.query_params.clear()


def _forget_demo() -> None:
    for name in (f"round {DEMO_BED}", f"order {DEMO_BED}", "threshold"):
        kept.forget(name)


def place() -> str:
    """Where the record is: a database's address in COUNTERSIGHT_DATA, or a folder."""
    if in_demo():
        return str(st.session_state[_DEMO].name)
    given = os.environ.get(DATA_VARIABLE, "").strip()
    return given if "://" in given else str(data_dir())


def data_folder() -> Path | None:
    """The folder that holds the record; None where it is in a database on a server."""
    return None if "://" in place() else Path(place())


def open_store() -> Store:
    """The record.  It is opened for each act, so that no session holds another's."""
    return open_demo(Path(place())) if in_demo() else WardStore.open(place())
