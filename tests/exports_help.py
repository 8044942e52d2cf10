"""An invented evening in a skills lab, on record: two beds, a correction, a withdrawal."""

from __future__ import annotations

from pathlib import Path

from records_help import BED, BY, YES, clock, draft, reading

from app.records import (
    Attestations,
    BedCode,
    EventDraft,
    Initials,
    LevelDraft,
    OrderDraft,
    SettingDraft,
    SkipDraft,
    Store,
    confirm,
)

SECOND = BedCode("QUAY-4")
LATER = Initials("R.T.")


def evening(where: Path | str) -> Store:
    """Fill a record."""
    store = Store.open(where)

    def add(what, minutes, bed=BED, by=BY, **more):
        return store.add(confirm(what, by=by, bed=bed, clock=clock(minutes, 60), **more))

    add(OrderDraft(landmark="tragus", threshold="-2.5", unit="cm[H2O]", drain="continuously",
                   limits={"ml_per_hour": "12", "chamber_full_ml": "50"},
                   tell_whom="the teacher on duty"), 0)
    add(LevelDraft.of({"status": "read", "offset_cm": -0.4, "interval_cm": [-0.9, 0.1],
                       "flags": ["card-small"]}), 2, confirmed_value="-0.4")
    add(SettingDraft("cm[H2O]"), 3, confirmed_value="-2.5")
    first = store.add(reading("12.50", 5, clock=clock(5, 60)))
    store.add(reading("20.4", 65, clock=clock(65, 60), note="=1+1 looks like a formula"))
    add(first.correction("typed a 2 for a 1, <read again>", confirmed_value="11.50"), 66, by=LATER)
    wrong = store.add(reading("31", 70, clock=clock(70, 60)))
    add(wrong.withdrawal("belongs to QUAY-4"), 71, by=LATER)
    add(EventDraft("sample-taken", volume_ml="2.0", source="port"), 80)
    add(EventDraft("chamber-emptied", before_ml="23.0", after_ml="0.5"), 90)
    add(SkipDraft("level check", "patient asleep"), 95)
    store.add(reading("35.0", 125, clock=clock(125, 60)))
    add(EventDraft("position-changed", detail="head of bed up"), 130)
    add(EventDraft("drain-closed"), 131)
    store.add(reading("31.0", 72, bed=SECOND, clock=clock(135, 60)))
    store.add(confirm(draft(first=None), by=LATER, bed=SECOND, confirmed_value="40,25",
                      attestations=Attestations(True, False, True, True),
                      note="hung askew, put right afterwards", clock=clock(195, 60)))
    assert YES.all_true
    return store
