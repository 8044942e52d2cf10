"""One file a page, each with ``TITLE``, ``ORDER`` and a function ``page()``.

A page asks and shows; it calls the same functions as the command line and
computes nothing itself.
"""

from __future__ import annotations

import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module


@dataclass(frozen=True)
class PageEntry:
    """A page as the navigation knows it."""

    name: str
    title: str
    order: int
    page: Callable[[], None]


def all_pages() -> list[PageEntry]:
    """Every page in this folder, in their order; the first one opens the app."""
    found = []
    for info in pkgutil.iter_modules(__path__):
        module = import_module(f"{__name__}.{info.name}")
        if hasattr(module, "page"):
            found.append(PageEntry(info.name, module.TITLE, module.ORDER, module.page))
    return sorted(found, key=lambda entry: (entry.order, entry.name))
