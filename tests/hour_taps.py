"""How much work an hour at a bed is: taps, typed fields, scrolls and seconds.

    PYTHONPATH=. python tests/hour_taps.py

drives the pages in a real Chromium at 390 x 844 as one thumb would, and prints a table:
(a) an ordinary hour, (b) with emptying, (c) the first hour of a new bed, (d) a reading over
the limit.  The order is on record; the phone's own camera, the walk and the look at the chamber
are not counted.

A tap is a press on a button, a choice or a line; a field is one that is typed into, its tap
included; a scroll is a swipe of 0.7 of the screen that the next thing to touch is away.
"hand" is what a hand needs for them by the keystroke-level model: 1.1 s to point, 0.28 s a
character (S. K. Card, T. P. Moran, A. Newell, Commun. ACM 23 (1980) 396; values from memory),
a swipe taken as a pointing; "waiting" is measured on this machine, "reading" the part of it in
which the photo is read.  "deepest" is where the last press lies from the top, in screens.
"""

from __future__ import annotations

import json
import math
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "browser")]

from installed_chromium import installed_chromium  # noqa: E402
from serving import ALONE, PHONE, at_rest, give_file, live, serve_pages  # noqa: E402

from app.records import (  # noqa: E402
    Attestations,
    BedCode,
    EventDraft,
    Initials,
    LevelDraft,
    Moment,
    OrderDraft,
    OwnReading,
    ReadingDraft,
    SettingDraft,
    Store,
    confirm,
)
from vision.scale_file.scale import load_scale  # noqa: E402

SAMPLES = ROOT / "sample_images"
#: Keystroke-level model: to point at something, and a character, s.
POINT_S, KEY_S = 1.1, 0.28
#: How long ``at_rest`` looks on before it believes that the page is at rest.
LOOKS_ON_S = 0.5


class Thumb:
    """One thumb on a telephone, which counts what it does."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.taps = self.fields = self.characters = self.scrolls = 0
        self.waited_s = self.reading_s = self.deepest = 0.0

    def _reach(self, place: Any) -> None:
        place.wait_for(state="attached")
        top, tall = place.evaluate("""e => { const r = e.getBoundingClientRect();
            return [r.top, r.height]; }""")
        screen = self.page.viewport_size["height"]
        away = max(0.0, top + tall - screen, -top)
        self.scrolls += math.ceil(away / (0.7 * screen))
        down = self.page.evaluate(
            "document.querySelector('[data-testid=stMain]')?.scrollTop || 0")
        self.deepest = max(self.deepest, (down + top + tall) / screen)
        place.scroll_into_view_if_needed()

    def tap(self, place: Any) -> None:
        """Press, and wait until the page is at rest."""
        self._reach(place)
        self.taps += 1
        began = time.monotonic()
        place.click()
        at_rest(self.page)
        self.waited_s += max(0.0, time.monotonic() - began - LOOKS_ON_S)

    def press(self, name: str) -> None:
        """Press a button by the words on it."""
        self.tap(live(self.page).get_by_role("button", name=name).first)

    def choose(self, group: str, option: str) -> None:
        """One of the choices of a group."""
        self.tap(live(self.page).get_by_role("radiogroup", name=group).get_by_text(
            option, exact=True))

    def type(self, label: str, text: str, of: Any = None) -> None:
        """Type into a field."""
        field = (of or live(self.page)).get_by_label(label).first
        self._reach(field)
        self.fields += 1
        self.characters += len(text)
        field.fill(text)

    def take_photo(self, file: Path) -> None:
        """Press the button for a photo; the camera itself is not counted."""
        self._reach(self.page.locator("input[type=file]").first.locator("xpath=.."))
        self.taps += 1
        began = time.monotonic()
        give_file(self.page, file)
        self.page.get_by_alt_text("with nothing drawn into it").first.wait_for()
        at_rest(self.page)
        self.waited_s += max(0.0, time.monotonic() - began - 2 * LOOKS_ON_S)

    def read(self, name: str) -> None:
        """The press after which the photo is read."""
        began, waited = time.monotonic(), self.waited_s
        self.press(name)
        self.page.get_by_text("Machine reading, not a record").first.wait_for()
        at_rest(self.page)
        self.waited_s = waited + max(0.0, time.monotonic() - began - 2 * LOOKS_ON_S)
        self.reading_s += max(0.0, time.monotonic() - began - 2 * LOOKS_ON_S)

    @property
    def hand_s(self) -> float:
        """What a hand needs, by the keystroke-level model."""
        return POINT_S * (self.taps + self.fields + self.scrolls) + KEY_S * self.characters

    def row(self, name: str) -> str:
        """A line of the table."""
        return (f"| {name} | {self.taps} | {self.fields} | {self.scrolls} | {self.deepest:.2f} | "
                f"{self.hand_s:.0f} s | {self.waited_s:.0f} s | {self.reading_s:.0f} s | "
                f"{self.hand_s + self.waited_s:.0f} s |")


HEAD = ("| | taps | fields | scrolls | deepest | hand | waiting | of it reading | together |\n"
        "|---|---|---|---|---|---|---|---|---|")


@dataclass(frozen=True)
class Hour:
    """A bed and what is on its record; the photo to be read there."""

    bed: str
    first: bool = False
    most_ml_per_hour: str = "15"
    emptied: bool = False


HOURS = {"(a) ordinary hour": Hour("ALDER-1"),
         "(b) with emptying": Hour("BIRCH-2", emptied=True),
         "(c) first hour of a new bed": Hour("CEDAR-5", first=True),
         "(d) over the limit": Hour("ROWAN-8", most_ml_per_hour="3")}


def easy_photo() -> dict[str, Any]:
    """The first easy one of the demo photos, with its truth."""
    lines = (SAMPLES / "labels.jsonl").read_text(encoding="utf-8").splitlines()
    return next(x for x in map(json.loads, filter(str.strip, lines))
                if x.get("tier") == "easy" and x.get("expect") == "read")


def put_before(store: Store, hour: Hour, label: dict[str, Any]) -> None:
    """What is on record when the hour begins: the order, and the hour before."""
    now = datetime.now().astimezone()

    def add(draft: Any, minutes: int, **more: Any) -> None:
        store.add(confirm(draft, by=Initials("R.T."), bed=BedCode(hour.bed),
                          happened_at=Moment.of(now - timedelta(minutes=minutes)), **more))

    add(OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]", drain="continuously",
                   limits={"ml_per_hour": hour.most_ml_per_hour, "chamber_full_ml": 55,
                           "reading_due_minutes": 60, "level_due_minutes": 240},
                   tell_whom="the doctor on call"), 300)
    if hour.first:
        return
    add(LevelDraft.usual_method(landmark="ear canal"), 100)
    add(SettingDraft(unit="cm[H2O]"), 99, confirmed_value="13.6")
    add(EventDraft("drain-opened"), 98)
    value = f"{label['true_value'] - 6:.1f}"
    add(ReadingDraft.by_eye(scale=load_scale(Path(label["scale"]).stem),
                            first=OwnReading.read(value)), 60, confirmed_value=value,
        attestations=Attestations(outlet_closed=True, hanging_plumb=True,
                                  patient_undisturbed=True, right_chamber_and_scale=True))


@contextmanager
def telephone() -> Iterator[tuple[Any, Any]]:
    """A page server with an empty record, and a browser of a phone's size."""
    from playwright.sync_api import sync_playwright

    browser = installed_chromium()
    if browser is None:
        raise SystemExit("Chromium is not installed.")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        server = serve_pages(Path(folder) / "ward")
        served = next(server)
        started = playwright.chromium.launch(
            executable_path=browser, args=[ALONE, "--disable-dev-shm-usage", "--no-sandbox"])
        page = started.new_context(viewport=PHONE, has_touch=True).new_page()
        page.set_default_timeout(40_000)
        try:
            yield served, page
        finally:
            started.close()
            server.close()


def table(walk: Callable[[Thumb, Any, Hour, dict[str, Any]], None]) -> str:
    """Every hour worked through by ``walk``, as a table."""
    label = easy_photo()
    rows = [HEAD]
    with telephone() as (served, page):
        for name, hour in HOURS.items():
            put_before(Store.open(str(served.data)), hour, label)
            thumb = Thumb(page)
            walk(thumb, served, hour, label)
            rows.append(thumb.row(name))
            print(rows[-1], file=sys.stderr)
    return "\n".join(rows)


def walk(thumb: Thumb, served: Any, hour: Hour, label: dict[str, Any]) -> None:
    """An hour at a bed, from the bed to what the record says of it."""
    page, own = thumb.page, f"{label['true_value']:.1f}"
    if page.url != f"{served.url}/round":  # somebody may have opened it there
        page.goto(f"{served.url}/round")
    at_rest(page)
    thumb.press(f"Bed {hour.bed}")
    if hour.first:
        thumb.choose("Level at the landmark", "Found level")
        thumb.type("The panel is set to", "13.6")
        thumb.choose("Unit printed on the panel", "cmH2O")
    thumb.choose("The drain to the chamber", "Open")
    thumb.take_photo(SAMPLES / label["file"])
    if hour.first:
        thumb.tap(live(page).get_by_text(load_scale(Path(label["scale"]).stem).name, exact=True))
    thumb.type("Your reading in mL", own)
    thumb.read("This is my reading")
    thumb.press("Take mine")
    thumb.choose("Do these four hold", "All four hold")
    thumb.choose("The chamber after this reading",
                 "Emptied to 0" if hour.emptied else "Not emptied")
    if live(page).get_by_label("Your initials").count():
        thumb.type("Your initials", "KT")
    thumb.press("Put on record")
    page.get_by_text("On record:").first.wait_for()
    on_record = [e.kind for e in Store.open(str(served.data)).entries(bed=hour.bed)]
    assert on_record.count("volume-reading") == (1 if hour.first else 2), on_record


def main() -> None:
    """Print the table."""
    sys.stdout.write(table(walk) + "\n")


if __name__ == "__main__":
    main()
