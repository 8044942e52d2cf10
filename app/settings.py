"""Where things live on this machine."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from vision.errors import InputError

DATA_VARIABLE = "COUNTERSIGHT_DATA"
KEY_VARIABLE = "COUNTERSIGHT_KEY"
#: The address under which phones reach the pages, for the pages themselves; none if none do.
ADDRESS_VARIABLE = "COUNTERSIGHT_ADDRESS"
#: The fingerprint of a certificate that nobody vouches for, where the pages come under one.
LAB_VARIABLE = "COUNTERSIGHT_LAB"


def data_dir() -> Path:
    """The folder of the record: COUNTERSIGHT_DATA, else the user's own data folder.

    The folder is not made here; whoever writes first makes it.
    """
    given = os.environ.get(DATA_VARIABLE, "").strip()
    return own_path(given) if given else user_data_dir()


def own_path(text: str) -> Path:
    """A path as a person gives it, ~ for their own folder.  Raises InputError."""
    try:
        return Path(text).expanduser()
    except RuntimeError:
        raise InputError(f"There is no folder '{text}': no such user on this machine.") from None


def record_place(given: str | None = None) -> str:
    """Where the record is: a database's address as given, or a folder's path."""
    place = (given or os.environ.get(DATA_VARIABLE, "")).strip()
    if "://" in place:
        return place
    return str(own_path(given) if given else data_dir())


def ward_folder(place: str) -> Path:
    """The folder of what the ward keeps beside the record at ``place``: the record's own, or
    this user's where it is in a database on a server."""
    if "://" in place:
        return user_data_dir()
    folder = Path(place)
    return folder.parent if folder.is_file() else folder


def user_data_dir() -> Path:
    """The usual place for a program's data of this user on this system."""
    home = Path.home()
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or home / ".local" / "share")
    return base / "countersight"


def key_file() -> Path:
    """The file of this station's private key: COUNTERSIGHT_KEY, else in the user's own
    settings folder, apart from the record that it signs."""
    given = os.environ.get(KEY_VARIABLE, "").strip()
    return own_path(given) if given else config_dir() / "station.key"


def config_dir() -> Path:
    """The usual place for a program's settings of this user on this system."""
    home = Path.home()
    if sys.platform == "win32":
        base = Path(os.environ.get("APPDATA") or home / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        base = home / "Library" / "Preferences"
    else:
        base = Path(os.environ.get("XDG_CONFIG_HOME") or home / ".config")
    return base / "countersight"
