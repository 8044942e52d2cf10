"""The pages as ``countersight serve`` serves them: the entry script behind the gate."""

from __future__ import annotations

import sys
from pathlib import Path

# The page server puts this folder on the path; the house is imported from two above.
_HOUSE = str(Path(__file__).resolve().parents[2])
if _HOUSE not in sys.path:
    sys.path.insert(0, _HOUSE)

import streamlit as st  # noqa: E402
from starlette.middleware import Middleware  # noqa: E402

from app.entry.gate import Gate, housekeeping  # noqa: E402

app = st.App(Path(__file__).with_name("main.py"), middleware=[Middleware(Gate)],
             lifespan=housekeeping)
