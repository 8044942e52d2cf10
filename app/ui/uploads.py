"""Letting an uploaded file go as soon as it has been read.

The page server keeps uploads in memory until their session ends, which may be
hours; a photo is needed once.
"""

from __future__ import annotations

import logging
from typing import Any

from streamlit.runtime.scriptrunner import get_script_run_ctx

_log = logging.getLogger("countersight")


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
