"""From a TOML file to checklists, with errors that name the place."""

from __future__ import annotations

import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

from app.checklists.model import Checklist, ChecklistFileError, Line, Timer

FORMAT = 1
#: The ward's file in the data folder; lists in it replace the default ones of the same name.
WARD_FILE_NAME = "checklists.toml"
MAX_BYTES = 200_000
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_LIST_FIELDS = {"name", "title", "line"}
_LINE_FIELDS = {"text", "source", "timer_s"}
_LONGEST_TIMER_S = 3600


def default_checklists() -> dict[str, Checklist]:
    """The set that comes with the software, by name, in the order of the work."""
    text = (files("app") / "checklists" / "default.toml").read_text(encoding="utf-8")
    return _parse(text, "the default checklists")


def load_checklists(path: str | Path) -> dict[str, Checklist]:
    """The checklists of a file, by name, in the file's order.

    Raises ChecklistFileError in one sentence that names the list, line and field.
    """
    path = Path(path)
    try:
        raw = path.read_bytes()
    except OSError:
        raise ChecklistFileError(f"The checklist file '{path.name}' cannot be read: check its "
                                 "name and its permissions.") from None
    if len(raw) > MAX_BYTES:
        raise ChecklistFileError(f"The checklist file '{path.name}' is larger than "
                                 f"{MAX_BYTES // 1000} kB: is it the right file?")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ChecklistFileError(f"The checklist file '{path.name}' is not UTF-8 text: "
                                 "save it as UTF-8.") from None
    return _parse(text, f"the checklist file '{path.name}'")


def ward_checklists(data_folder: str | Path | None) -> dict[str, Checklist]:
    """The default set, with the ward's own lists in place of those of the same name.

    Lists of other names are added at the end.  ``data_folder`` None, or without a
    ``checklists.toml``: the default set.
    """
    lists = default_checklists()
    if data_folder is not None and (Path(data_folder) / WARD_FILE_NAME).exists():
        lists |= load_checklists(Path(data_folder) / WARD_FILE_NAME)
    return lists


def _parse(text: str, where: str) -> dict[str, Checklist]:
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ChecklistFileError(f"{_start(where)} is not valid TOML: {error}.") from None
    if content.get("format") != FORMAT:
        raise ChecklistFileError(f"{_start(where)} has to begin with 'format = {FORMAT}'.")
    _only(content, {"format", "checklist"}, where)
    found: dict[str, Checklist] = {}
    for number, entry in enumerate(_tables(content, "checklist", where), 1):
        one = _checklist(entry, f"{where}, list {number}")
        if one.name in found:
            raise ChecklistFileError(f"{_start(where)} has two lists named '{one.name}': "
                                     "rename one.")
        found[one.name] = one
    return found


def _checklist(entry: dict[str, Any], where: str) -> Checklist:
    _only(entry, _LIST_FIELDS, where)
    name = _text(entry, "name", where, 40)
    if not _NAME.fullmatch(name):
        raise ChecklistFileError(f"{_start(where)}, field 'name': use small letters, digits and "
                                 "hyphens, for example 'before-reading'.")
    lines = tuple(_line(line, f"{where} ('{name}'), line {number}")
                  for number, line in enumerate(_tables(entry, "line", where), 1))
    return Checklist(name, _text(entry, "title", where, 80), lines)


def _line(entry: dict[str, Any], where: str) -> Line:
    _only(entry, _LINE_FIELDS, where)
    return Line(_text(entry, "text", where, 300), _text(entry, "source", where, 200),
                _timer(entry.get("timer_s"), where))


def _timer(value: Any, where: str) -> Timer | None:
    if value is None:
        return None
    both = [value, value] if isinstance(value, int) else value
    whole = (isinstance(both, list) and len(both) == 2
             and all(isinstance(x, int) and not isinstance(x, bool) for x in both))
    if not whole or not 0 < both[0] <= both[1] <= _LONGEST_TIMER_S:
        raise ChecklistFileError(f"{_start(where)}, field 'timer_s': give whole seconds, for "
                                 f"example 30 or [30, 60], at most {_LONGEST_TIMER_S}.")
    return Timer(both[0], both[1])


def _text(entry: dict[str, Any], field: str, where: str, longest: int) -> str:
    value = entry.get(field)
    if not isinstance(value, str) or not value.strip():
        raise ChecklistFileError(f"{_start(where)}, field '{field}': this text is missing.")
    if len(value) > longest:
        raise ChecklistFileError(f"{_start(where)}, field '{field}': at most {longest} characters.")
    return " ".join(value.split())


def _tables(entry: dict[str, Any], field: str, where: str) -> list[dict[str, Any]]:
    value = entry.get(field)
    if not isinstance(value, list) or not value or not all(isinstance(x, dict) for x in value):
        raise ChecklistFileError(f"{_start(where)} needs at least one [[{field}]] table.")
    return value


def _only(entry: dict[str, Any], known: set[str], where: str) -> None:
    strange = sorted(set(entry) - known)
    if strange:
        raise ChecklistFileError(f"{_start(where)}, field '{strange[0]}': there is no such field; "
                                 f"there are {', '.join(sorted(known))}.")


def _start(where: str) -> str:
    return where[0].upper() + where[1:]
