"""A made-up bed with a filled shift, in a record of its own that can be thrown away.

It shares nothing with the ward's record: another file, another key, and it takes no entry
for any other bed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

from app.records import (
    Attestations,
    BedCode,
    ConfirmedEntry,
    ConfirmError,
    Draft,
    Entry,
    EventDraft,
    Initials,
    KeptPicture,
    LevelDraft,
    Moment,
    OrderDraft,
    OwnReading,
    ReadingDraft,
    SettingDraft,
    Store,
    confirm,
)
from app.records.codes import normal_bed
from app.records.confirmed import unsealed
from app.records.station_key import StationKey, station_key
from vision.scale_file.scale import load_scale

#: The bed code of everything that is tried out.
DEMO_BED = "DEMO"
_SCALE = "quay-60"
_ALL_HOLD = Attestations(outlet_closed=True, hanging_plumb=True, patient_undisturbed=True,
                         right_chamber_and_scale=True)
#: Hours before now (of the last reading: 52 min) and mL in the chamber; all made up.
_READINGS = ((7, "4"), (6, "13.5"), (5, "22"), (4, "33.5"), (3, "44"), (2, "12.5"), (1, "27"),
             (0, "36.5"))
_LAST_MINUTES = 52


class WardStore(Store):
    """The ward's record: nothing made up comes into it."""

    def add_all(self, confirmed: Sequence[tuple[ConfirmedEntry, KeptPicture | None]]
                ) -> tuple[Entry, ...]:
        """As the record does; ConfirmError for the demo bed."""
        if any(normal_bed(unsealed(c).bed) == DEMO_BED for c, _ in confirmed):
            raise ConfirmError(f"{DEMO_BED} is the demo bed, and this is the ward's own record. "
                               "Nothing was recorded. Type the ward's code of the bed.")
        return super().add_all(confirmed)


class DemoStore(Store):
    """The record of the demo bed, in a folder that goes away with it."""

    def add_all(self, confirmed: Sequence[tuple[ConfirmedEntry, KeptPicture | None]]
                ) -> tuple[Entry, ...]:
        """As for the ward's record; ConfirmError for any bed but the demo bed."""
        if any(normal_bed(unsealed(c).bed) != DEMO_BED for c, _ in confirmed):
            raise ConfirmError("This is the demo bed's own record, which is thrown away. Nothing "
                               "was recorded. Leave the demo bed first; then enter it for the "
                               "ward's bed.")
        return super().add_all(confirmed)

    def _key(self) -> StationKey:
        return station_key(self._anchor.with_name("demo.key"))


def open_demo(folder: Path) -> Store:
    """The demo bed's record in ``folder``, filled the first time."""
    new = not (folder / "record.sqlite3").exists()
    store = DemoStore.open(folder)
    if new:
        fill(store, Moment.now())
    return store


def fill(store: Store, now: Moment) -> None:
    """Put a made-up shift on record that ends at ``now``."""
    for minutes, draft, more in sorted(_shift(), key=lambda row: -row[0]):
        then = Moment(now.utc - timedelta(minutes=minutes), now.offset_min)
        store.add(confirm(draft, by=Initials("DE.MO"), bed=BedCode(DEMO_BED),
                          clock=lambda then=then: then, **more))  # type: ignore[misc]


def _shift() -> Iterator[tuple[float, Draft, dict[str, Any]]]:
    """Minutes before now, what was done, and what goes with it."""
    yield 500, OrderDraft(
        landmark="ear canal", threshold="10", unit="cm[H2O]", drain="continuously",
        limits={"ml_per_hour": "12", "ml_per_shift": "150", "chamber_full_ml": "50",
                "reading_due_minutes": "60", "level_due_minutes": "240"},
        tell_whom="the doctor on call, by the ward's telephone"), {}
    yield 496, LevelDraft.usual_method(landmark="ear canal"), {}
    yield 495, SettingDraft(unit="cm[H2O]"), {"confirmed_value": "10"}
    yield 494, EventDraft("drain-opened", seen=True), {}
    yield 175 + _LAST_MINUTES, EventDraft("chamber-emptied", before_ml="44", after_ml="0"), {}
    yield 90 + _LAST_MINUTES, EventDraft("position-changed", detail="turned to the side"), {}
    yield 86 + _LAST_MINUTES, LevelDraft.usual_method(landmark="ear canal"), {}
    for minutes, look in ((490, "straw-coloured"), (240 + _LAST_MINUTES, "straw-coloured"),
                          (_LAST_MINUTES - 1, "pink")):
        yield minutes, EventDraft("fluid-seen", look=look), {}
    yield 116 + _LAST_MINUTES, EventDraft(
        "person-told", about="ml_per_hour", whom="doctor on call",
        reply="comes to see the patient, no change of the order"), {}
    yield 300, EventDraft("dressing-seen", dressing="dry and intact", site="calm"), {}
    yield 30 + _LAST_MINUTES, EventDraft("sample-taken", source="port", volume_ml="2",
                                         tests="cell count and glucose"), {}
    scale = load_scale(_SCALE)
    for hours, value in _READINGS:
        yield 60 * hours + _LAST_MINUTES, \
            ReadingDraft.by_eye(scale=scale, first=OwnReading.read(value)), \
            {"confirmed_value": value, "attestations": _ALL_HOLD}
