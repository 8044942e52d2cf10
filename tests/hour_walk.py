"""The pages "Orders" and "Round" without a browser, driven by what stands on their labels."""

from __future__ import annotations

import html
from pathlib import Path

from streamlit.testing.v1 import AppTest

from app.records import Store

BED = "QUAY-3"


class Walk:
    """One page of the app, driven by labels."""

    def __init__(self, name: str, bed: str = "") -> None:
        self.at = AppTest.from_string(
            f"from app.pages import {name}\n{name}.page()\n", default_timeout=60)
        if bed:
            self.at.query_params["bed"] = bed
        self.run()

    def run(self) -> Walk:
        self.at.run()
        assert not self.at.exception, self.at.exception
        return self

    def press(self, label: str) -> Walk:
        next(b for b in self.at.button if b.label.startswith(label)).click()
        return self.run()

    def fill(self, label: str, text: str) -> Walk:
        next(t for t in self.at.text_input if t.label.startswith(label)).input(text)
        return self.run()

    def choose(self, label: str, option: str) -> Walk:
        next(g for g in self.at.button_group if g.label.startswith(label)).set_value(option)
        return self.run()

    def text(self) -> str:
        found = [str(getattr(n, "value", "")) + str(getattr(n, "proto", "")) for n in self.at.main]
        parts = list(found)

        def walk(node):  # type: ignore[no-untyped-def]
            for child in getattr(node, "children", {}).values():
                parts.append(str(getattr(child, "proto", "")) + str(getattr(child, "value", "")))
                walk(child)
        walk(self.at.main)
        return html.unescape("\n".join(parts))


def ordered(data: Path, number: str = "10", unit: str = "mmHg",
            drain: str = "continuously") -> Walk:
    page = Walk("orders").fill("Bed code", BED).fill("Landmark", "ear canal")
    page.fill("Ordered threshold", number).choose("Unit", unit)
    page.at.radio[0].set_value(drain)
    return page.run().fill("Your initials", "R.T.").press("Confirm the order")


def entries(data: Path, kind: str | None = None):  # type: ignore[no-untyped-def]
    return Store.open(data).entries(bed=BED, kind=kind)


class Hour(Walk):
    """A round's page with an order on record, driven through an hour by eye."""

    def __init__(self, data: Path, **order: str) -> None:
        if order or not entries(data, "order"):
            ordered(data, **order)
        super().__init__("round", BED)

    @property
    def state(self):  # type: ignore[no-untyped-def]
        return self.at.session_state["round-in-hand"]

    def tick(self, key_end: str) -> Hour:
        next(c for c in self.at.checkbox if (c.key or "").endswith(key_end)).check()
        self.run()
        return self

    def checks(self, drain: str = "Open", level: str = "Found level") -> Hour:
        self.choose("Level at the landmark", level).choose("The drain to the chamber", drain)
        self.fill("The panel is set to", "13,6").choose("Unit printed", "cmH2O")
        return self

    def by_eye(self, own: str = "23,5") -> Hour:
        self.press("Without a photo")
        if self.at.radio and self.at.radio[0].value is None:
            self.at.radio[0].set_value("quay-60")
            self.run()
        self.fill("Your reading in mL", own).press("This is my reading")
        return self

    def say(self, four: str = "All four hold", emptied: str = "Not emptied") -> Hour:
        self.choose("Do these four hold", four).choose("The chamber after", emptied)
        return self

    def put(self, initials: str = "M.K.") -> Hour:
        if any(t.label == "Your initials" for t in self.at.text_input):
            self.fill("Your initials", initials)
        self.press("Put on record")
        return self
