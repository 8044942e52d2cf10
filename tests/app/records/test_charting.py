"""What a nurse also charts: on record like everything else, and nowhere lost on its way."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from fhir_account import read_accounts
from records_help import BED, BY, START, at, clock, happening, old_record, reading

from app.exports.account_text import account_json
from app.exports.entry_words import remarks, what
from app.exports.fhir import write_bundle
from app.exports.table import read_csv, verify_csv, write_csv
from app.records import BedCode, ConfirmError, EventDraft, OrderDraft, Store, confirm
from app.records.codes import bed_and_drain, bed_words, other_drains, similar_beds, with_drain
from app.records.kinds import ABOUT, EVENTS, LOOKS, PARTS
from app.records.shift import bed_account, clamped, last_look, level_state, told
from vision.output import ShiftPlan, findings, is_open, parse_starts

CHARTED = {
    "fluid-seen": ({"look": "blood-stained"}, "fluid blood-stained"),
    "little-output": ({"cause": "tubing kinked"}, "little or no output, reason: tubing kinked"),
    "person-told": ({"about": "ml_per_hour", "whom": "doctor on call", "reply": "will come"},
                    "told doctor on call (over the hour's limit), answer: will come"),
    "dressing-seen": ({"dressing": "dry and intact", "site": "calm"},
                      "dressing dry and intact, site calm"),
    "sample-taken": ({"volume_ml": "2", "source": "port", "tests": "cell count"},
                     "sample taken 2 mL port, sent for cell count"),
    "drain-closed": ({"closed_for": "transport"}, "drain closed for transport"),
    "drainage-ended": ({}, "drainage ended"),
}


@pytest.fixture
def store(tmp_path) -> Store:
    return Store.open(tmp_path)


@pytest.mark.parametrize("name", CHARTED)
def test_it_is_an_entry_like_all_others_and_leaves_with_every_export(store, name):
    parts, words = CHARTED[name]
    store.add(reading("10", 0))
    entry = store.add(happening(name, 30, **parts))
    store.add(reading("14", 60))
    assert what(entry) == words
    assert store.verify().ok and store.entry(entry.number).payload == parts
    table = write_csv(store.checked_read(stations=True).entries)
    assert verify_csv(table).ok and what(read_csv(table)[2]) == words
    bundle = json.loads(write_bundle(store.current()))
    observation = next(e["resource"] for e in bundle["entry"]
                       if e["resource"].get("valueCodeableConcept"))
    assert observation["valueCodeableConcept"]["coding"][0]["code"] == name
    said = {c["code"]["coding"][0]["code"]: c.get("valueString") for c in observation["component"]}\
        if parts else {}
    for part, value in parts.items():
        if part not in ("volume_ml", "source"):
            assert said[part.replace("_", "-")] == value
    account = bed_account(store, BED).account
    assert read_accounts(write_bundle(store.current()))[str(BED)] is not None
    assert [e.name for e in account.events] == [name]
    if name != "drainage-ended":  # in the account and in its words
        assert account.intervals[0].events[0].said.split(",")[0] in words


@pytest.mark.parametrize(("name", "parts", "sentence"), [
    ("fluid-seen", {}, "how the fluid looks"),
    ("fluid-seen", {"look": "purple"}, "not one of clear, straw-coloured"),
    ("person-told", {"about": "look", "whom": "doctor"}, "Write the answer"),
    ("person-told", {"about": "look", "reply": "yes"}, "who was told"),
    ("little-output", {"cause": " "}, "no reason was found"),
    ("dressing-seen", {"dressing": "moist"}, "how the site is"),
    ("bag-changed", {"look": "clear"}, "has no look"),
    ("drain-opened", {"closed_for": "transport"}, "has no closed_for"),
])
def test_half_a_thing_does_not_go_on_record(name, parts, sentence):
    with pytest.raises(ConfirmError, match=sentence):
        confirm(EventDraft(name, **parts), by=BY, bed=BED)


def test_every_event_has_its_words_and_its_parts_are_known():
    assert set(PARTS) <= set(EVENTS) and len(LOOKS) == 6 and "other" in ABOUT


def test_a_correction_keeps_to_the_same_rules(store):
    entry = store.add(happening("fluid-seen", 0, look="clear"))
    fixed = store.add(confirm(entry.correction("pressed the wrong one", payload={"look": "pink"}),
                              by=BY, bed=BED, clock=clock(1)))
    assert what(fixed) == "fluid pink" and last_look(store.current(BED)).payload["look"] == "pink"
    with pytest.raises(ConfirmError, match="how the fluid looks"):
        confirm(fixed.correction("empty", payload={}), by=BY, bed=BED)


def test_telling_somebody_answers_a_limit_that_is_passed(store):
    store.add(confirm(OrderDraft(landmark="ear canal", limits={"ml_per_hour": "15"}), by=BY,
                      bed=BED, clock=clock(0)))
    store.add(reading("10", 1))
    store.add(reading("40", 61))

    def over():  # type: ignore[no-untyped-def]
        bed = bed_account(store, BED)
        found = findings(bed.account, bed.limits, START + timedelta(minutes=70))
        return next(f for f in found if f.limit == "ml_per_hour"), bed.standings

    assert told(*over()) is None
    tell = dict(whom="doctor on call", reply="will come")
    store.add(happening("person-told", 62, about="look", **tell))
    assert told(*over()) is None, "told about something else"
    entry = store.add(happening("person-told", 63, about="ml_per_hour", **tell))
    assert told(*over()).number == entry.number
    store.add(reading("75", 121))
    assert told(*over()).number == entry.number, "the older hour stays answered"
    bed = bed_account(store, BED)
    newest = [f for f in findings(bed.account, bed.limits, START + timedelta(minutes=130))
              if f.limit == "ml_per_hour"][-1]
    assert told(newest, bed.standings) is None, "the next hour over it is told anew"


def test_a_clamp_for_transport_runs_until_the_drain_is_opened(store):
    store.add(happening("drain-opened", 0))
    store.add(reading("10", 1))
    entry = store.add(happening("drain-closed", 31, closed_for="transport"))
    assert clamped(store.current(BED)).number == entry.number
    store.add(happening("drain-opened", 51))
    assert clamped(store.current(BED)) is None
    store.add(reading("14", 61))
    account = bed_account(store, BED).account
    assert account.intervals[0].open_hours == pytest.approx(40 / 60)
    store.add(happening("drain-closed", 62))
    assert clamped(store.current(BED)) is None, "closed for another reason"


def test_what_comes_after_the_end_of_a_drainage_is_another_one(store):
    store.add(confirm(OrderDraft(landmark="ear canal"), by=BY, bed=BED, clock=clock(0)))
    store.add(reading("10", 1))
    store.add(reading("14", 61))
    store.add(happening("drainage-ended", 70))
    bed = bed_account(store, BED)
    assert bed.order is None and str(bed.account.total_ml) == "4"
    store.add(reading("30", 121))
    store.add(reading("33", 181))
    bed = bed_account(store, BED)
    assert [str(i.output_ml) for i in bed.account.intervals] == ["4", "3"]
    assert is_open(bed.account.events, at(190).local) is None
    assert level_state(bed.standings, at(190).local).last is None
    store.add(confirm(OrderDraft(landmark="ear canal"), by=BY, bed=BED, clock=clock(190)))
    assert bed_account(store, BED).order is not None


def test_a_late_entry_carries_its_true_time_and_its_reason(store):
    entry = store.add(confirm(EventDraft("bag-changed"), by=BY, bed=BED, happened_at=at(0),
                              clock=clock(90), late_reason="resuscitation next door"))
    assert entry.happened == at(0) and entry.late_minutes == 90
    (standing,) = store.current(BED)
    assert "entered late: resuscitation next door" in remarks(standing)
    assert "Entered late: resuscitation next door" in write_bundle(store.current())


def test_two_drains_of_one_patient_are_two_accounts_under_one_bed(store):
    left, right = (BedCode(with_drain("quay-3", d)) for d in ("l", "R"))
    assert (str(left), bed_and_drain(left), bed_words(left)) == (
        "QUAY-3 / L", ("QUAY-3", "L"), "QUAY-3, drain L")
    assert bed_and_drain("12/3") == ("12/3", ""), "a slash inside a code is no drain"
    for bed, values in ((left, ("4", "14")), (right, ("4", "6"))):
        for k, value in enumerate(values):
            store.add(reading(value, 60 * k, bed=bed, clock_checked=True))
    assert [str(bed_account(store, b).account.total_ml) for b in (left, right)] == ["10", "2"]
    assert other_drains(left, store.beds()) == (right,)
    assert similar_beds(right, [left]) == (), "the other drain is no slip of the finger"
    assert similar_beds("QUAY-3 / LEFTT", ["QUAY-3 / LEFT"]) == ("QUAY-3 / LEFT",)
    bundle = json.loads(write_bundle(store.current(right)))
    assert bundle["entry"][0]["resource"]["bodySite"] == {"text": "Drain R"}


def test_a_record_of_the_form_before_is_carried_over(tmp_path):
    """Entries signed by form 0003 stay as they are, and the new names are taken."""
    from app.records.engine import database_url, make_engine, writing
    from app.records.version import migrate

    where = tmp_path / "old"
    where.mkdir()
    engine = make_engine(database_url(where), wait_seconds=5)
    with writing(engine) as connection:
        migrate(connection, "0003")
    engine.dispose()
    store = Store.open(where)
    store.add(happening("fluid-seen", 0, look="clear"))
    assert store.verify().ok and store.count() == 1
    old = tmp_path / "older"
    entries = old_record(old, "0002", 3)
    store = Store.open(old)
    store.add(happening("drainage-ended", 10))
    assert store.entries()[:3] == tuple(entries) and store.verify().ok


PLAN = ShiftPlan(parse_starts("07:00,19:00"))


def test_the_account_as_json_names_them(store):
    store.add(reading("10", 0))
    store.add(happening("fluid-seen", 30, look="pink"))
    store.add(reading("14", 60))
    made = account_json(bed_account(store, BED), at(70).local, PLAN)
    assert made["intervals"][0]["events"] == ["fluid-seen"]
