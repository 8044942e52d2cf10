"""Which software version made an entry."""

from __future__ import annotations

from functools import cache
from importlib.metadata import PackageNotFoundError, version


@cache
def software_version() -> str:
    """The installed version, or "uninstalled" when run straight from the source tree."""
    try:
        return version("countersight")
    except PackageNotFoundError:
        return "uninstalled"
