"""The pages as ``countersight serve`` serves them: behind safe headers and the gate."""

from __future__ import annotations

import sys
from importlib.resources import files
from pathlib import Path

# The page server puts this folder on the path; the house is imported from two above.
_HOUSE = str(Path(__file__).resolve().parents[2])
if _HOUSE not in sys.path:
    sys.path.insert(0, _HOUSE)

import streamlit as st  # noqa: E402
from starlette.middleware import Middleware  # noqa: E402

from app.entry import aim, classroom, lesson_frames  # noqa: E402
from app.entry.gate import Gate, housekeeping  # noqa: E402
from app.entry.sign_in_answers import SignInAnswers  # noqa: E402
from app.headers import SafeHeaders, inline_scripts, safe_headers  # noqa: E402
from app.ui import theme  # noqa: E402
from app.ui.lesson.follow import FOLLOW  # noqa: E402
from app.ui.ward.watch import WATCH  # noqa: E402
from app.ui.zoom import ZOOM  # noqa: E402

_SHELL = (files("streamlit") / "static" / "index.html").read_text(encoding="utf-8")
_SCRIPTS = [code for html in (_SHELL, theme.NUMBER_KEYS, theme.TO_THE_TOP, theme.KEEP_PLACE,
                              theme.ENTER, WATCH, FOLLOW, ZOOM) for code in inline_scripts(html)]

app = st.App(Path(__file__).with_name("main.py"), lifespan=housekeeping,
             routes=[*lesson_frames.ROUTES, *classroom.ROUTES, *aim.ROUTES], middleware=[
    Middleware(SafeHeaders, headers=safe_headers(_SCRIPTS)), Middleware(Gate),
    Middleware(SignInAnswers)])
