"""What goes to a worker process and what comes back."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import Any

from vision.errors import CountersightError


@dataclass(frozen=True)
class Job:
    """A function of ``vision`` by its names, and what to call it with."""

    module: str
    name: str
    args: tuple[Any, ...]
    options: dict[str, Any]

    @classmethod
    def of(cls, function: Any, args: tuple[Any, ...], options: dict[str, Any]) -> Job | None:
        """The job, or None where another process would find another function by that name."""
        module, name = getattr(function, "__module__", ""), getattr(function, "__qualname__", "")
        found = getattr(sys.modules.get(module), name, None)
        if not str(module).startswith("vision.") or found is not function:
            return None
        return cls(module, name, args, options)


@dataclass(frozen=True)
class Outcome:
    """A result, an error with a sentence of its own, or where something unforeseen happened."""

    result: Any = None
    error: CountersightError | None = None
    unforeseen: str = ""
