"""An uploaded photo is read once, and its bytes are let go at once.

The page server keeps uploads in memory until their session ends, which may be
hours; a photo is needed once.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from app.ui import guard
from vision.imaging.photo import Photo, load_photo

_log = logging.getLogger("countersight")


def take(widget: str, done: Callable[[Photo | None, str], None]) -> None:
    """Hand ``done`` the photo that the field ``widget`` holds, or None and why it is none.

    Nothing is handed on where the field holds no file, or one that was let go before:
    a tap that was on its way while the photo came in brings the old field's word once
    more, and the photo in hand must not suffer from that.
    """
    file: Any = st.session_state.get(widget)
    if not hasattr(file, "getvalue"):
        return
    photo, problem = guard.in_words(lambda: load_photo(file.getvalue()))
    forget(file)
    done(photo, problem)


def forget(file: Any) -> None:
    """Drop an uploaded file's bytes from the page server's memory now.

    The widget has to get another key, since its file is gone.
    """
    context, name = get_script_run_ctx(), getattr(file, "file_id", None)
    if context is None or name is None:
        return
    manager: Any = context.uploaded_file_mgr
    try:
        manager.remove_file(context.session_id, name)
    except Exception:  # an inner part of the page server: a change there must not stop a photo
        _log.warning("an upload stays in memory until its session ends")
