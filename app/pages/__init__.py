"""One file a page, each with ``TITLE``, ``ORDER`` and a function ``page()``; one that is for
teaching or testing says in ``TEACHING`` what for.

A page asks and shows; it calls the same functions as the command line and
computes nothing itself.
"""

from __future__ import annotations

import logging
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module

_log = logging.getLogger("countersight")


@dataclass(frozen=True)
class PageEntry:
    """A page as the navigation knows it."""

    name: str
    title: str
    order: int
    page: Callable[[], None]
    #: One sentence, for a page that is offered under "Teach and test" only.
    teaching: str = ""


def all_pages() -> list[PageEntry]:
    """Every page in this folder, in their order; the first one opens the app.

    A page that cannot be loaded is logged and left out: it must not take the
    page with the main job down with it.
    """
    found = []
    for info in pkgutil.iter_modules(__path__):
        try:
            module = import_module(f"{__name__}.{info.name}")
        except Exception:
            _log.exception("the page '%s' cannot be loaded", info.name)
            continue
        if hasattr(module, "page"):
            found.append(PageEntry(info.name, module.TITLE, module.ORDER, module.page,
                                   getattr(module, "TEACHING", "")))
    return sorted(found, key=lambda entry: (entry.order, entry.name))
