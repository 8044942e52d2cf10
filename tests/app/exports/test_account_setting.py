"""How the panel's setting stands to the order, in the account as JSON."""

from __future__ import annotations

from records_help import BED, BY, at, clock

from app.exports.account_text import account_json
from app.records import EventDraft, OrderDraft, SettingDraft, Store, confirm
from app.records.shift import bed_account
from vision.output import ShiftPlan, parse_starts

PLAN = ShiftPlan(parse_starts("07:00,19:00"))


def told(store: Store) -> dict:
    return account_json(bed_account(store, BED), at(90).local, PLAN)["setting"]


def put(store: Store, draft, minutes: int, value: str | None = None) -> None:  # type: ignore[no-untyped-def]
    store.add(confirm(draft, by=BY, bed=BED, confirmed_value=value, clock=clock(minutes)))


def test_ordered_and_found_stand_side_by_side_each_in_its_own_unit(tmp_path) -> None:
    """10 mmHg is 13.6 cmH2O: 1 mmHg is 1.35951 cmH2O (NIST SP 811)."""
    store = Store.open(tmp_path)
    assert told(store) == {"ordered": None, "found": None, "as_ordered": None,
                           "sentence": "Setting: no setting check is on record."}
    put(store, OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]"), 0)
    made = told(store)
    assert made["ordered"] == {"value": 10.0, "unit": "mm[Hg]"}
    assert made["found"] is None and made["as_ordered"] is None, "nobody has looked"

    put(store, SettingDraft(unit="cm[H2O]"), 10, "13.6")
    made = told(store)
    assert made["found"] == {"value": 13.6, "unit": "cm[H2O]",
                             "at": at(10).local.isoformat()}
    assert made["as_ordered"] is True

    put(store, SettingDraft(unit="cm[H2O]"), 20, "10")
    made = told(store)
    assert made["as_ordered"] is False and "not as ordered" in made["sentence"]
    assert made["found"]["value"] == 10.0

    put(store, OrderDraft(landmark="ear canal", threshold="7.4", unit="mm[Hg]"), 30)
    assert told(store)["as_ordered"] is None, "no check since that order"


def test_a_changed_position_leaves_what_was_found_as_ordered_and_says_so(tmp_path) -> None:
    store = Store.open(tmp_path)
    put(store, OrderDraft(landmark="ear canal", threshold="10", unit="cm[H2O]"), 0)
    put(store, SettingDraft(unit="cm[H2O]"), 10, "10")
    put(store, EventDraft("position-changed"), 20)
    made = told(store)
    assert made["as_ordered"] is True and "the position changed" in made["sentence"]
