"""Driving the page "Shift" without a browser, and an invented bed with a few hours on record."""

from __future__ import annotations

import html
from datetime import datetime, timedelta
from fnmatch import fnmatch

from records_help import BED, BY, reading
from streamlit.testing.v1 import AppTest

from app.records import Entry, Moment, Store, confirm

SCRIPT = "from app.pages.shift import page\npage()\n"


def ago(minutes: float) -> Moment:
    """So many minutes before now: the page looks at this machine's clock."""
    return Moment.of(datetime.now().astimezone() - timedelta(minutes=minutes))


def put(store: Store, what, minutes: float, *, bed=BED, by=BY, **more) -> Entry:  # type: ignore[no-untyped-def]
    """Confirm a draft as if it were ``minutes`` ago."""
    return store.add(confirm(what, by=by, bed=bed, clock=lambda: ago(minutes), **more))


def read(store: Store, value: str, minutes: float, **more: object) -> Entry:
    """A confirmed reading ``minutes`` ago."""
    return store.add(reading(value, clock=lambda: ago(minutes), **more))


class Page:
    """The page as a person meets it; every act runs the whole script once."""

    def __init__(self, bed: str = str(BED), asked: str = "") -> None:
        """``bed`` is typed, ``asked`` stands in the address."""
        self.at = AppTest.from_string(SCRIPT, default_timeout=30)
        if asked:
            self.at.query_params["bed"] = asked
        self.at.run()
        if bed:
            self.type("sh-bed", bed)

    def text(self) -> str:
        """All that is on the page, as one text."""
        parts: list[str] = []
        for node in self.at.main:
            parts += self._texts(node)
        return html.unescape("\n".join(parts))

    def _texts(self, node: object) -> list[str]:
        children = getattr(node, "children", None)
        if children:
            return [t for child in children.values() for t in self._texts(child)]
        return [str(getattr(node, "proto", "")), str(getattr(node, "value", ""))]

    def run(self) -> Page:
        self.at.run()
        assert not self.at.exception, self.at.exception
        return self

    def type(self, start: str, text: str) -> Page:
        """Into the field whose key begins so; a * stands for any characters."""
        next(t for t in self.at.text_input if fnmatch(t.key or "", f"{start}*")).set_value(text)
        return self.run()

    def choose(self, start: str, option: str) -> Page:
        next(g for g in self.at.button_group
             if fnmatch(g.key or "", f"{start}*")).set_value(option)
        return self.run()

    def entry(self, number: int) -> Page:
        """Choose the entry to correct."""
        next(s for s in self.at.selectbox if (s.key or "").startswith("co-")).set_value(number)
        return self.run()

    def press(self, start: str) -> Page:
        next(b for b in self.at.button if (b.key or "").startswith(start)).click()
        return self.run()

    def event(self, name: str) -> Page:
        return self.choose("ev-name-", name)

    def confirm_event(self, initials: str = "M.K.") -> Page:
        return self.type("by-ev-", initials).press("confirm-ev-")

    def confirm_correction(self, initials: str = "R.T.") -> Page:
        return self.type("by-co-", initials).press("confirm-co-")
