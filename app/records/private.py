"""Files for this user only."""

from __future__ import annotations

import stat
from pathlib import Path


def make_private(file: Path) -> None:
    """Take every right from others than the file's owner; OSError."""
    mode = stat.S_IMODE(file.stat().st_mode)
    if mode & 0o077:
        file.chmod(mode & 0o700)
