"""Nothing is on record without the confirming act."""

from __future__ import annotations

import copy
import pickle
from dataclasses import replace
from datetime import datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from records_help import BED, BY, SCALE, YES, at, clock, draft, reading

from app.records import (
    Attestations,
    BedCode,
    ConfirmedEntry,
    ConfirmError,
    EventDraft,
    Initials,
    LevelDraft,
    Moment,
    NotConfirmedError,
    OrderDraft,
    OwnReading,
    ReadingDraft,
    SettingDraft,
    SkipDraft,
    Store,
    confirm,
    quantity,
)
from app.records.confirmed import seal
from vision.errors import InputError
from vision.reading import VolumeReading


@pytest.fixture
def store(tmp_path):
    return Store.open(tmp_path)


def test_the_confirmed_type_cannot_be_made_otherwise():
    made = reading()
    for attempt in (lambda: ConfirmedEntry(), lambda: ConfirmedEntry(made.content),
                    lambda: copy.copy(made), lambda: copy.deepcopy(made),
                    lambda: pickle.dumps(made), lambda: setattr(made, "_content", None),
                    lambda: delattr(made, "_seal"),
                    lambda: type("Sneaky", (ConfirmedEntry,), {})):
        with pytest.raises(NotConfirmedError):
            attempt()


def test_the_store_takes_nothing_but_a_sealed_entry(store):
    made = reading()
    forged = object.__new__(ConfirmedEntry)
    patched = object.__new__(ConfirmedEntry)
    object.__setattr__(patched, "_content", replace(made.content, confirmed_value=Decimal(9)))
    object.__setattr__(patched, "_seal", made._seal)
    drawn_in = reading()
    drawn_in.content.payload["division"] = "0.1"  # changed behind the confirmer's back
    for thing in (None, draft(), made.content, made.content.row(), forged, patched, drawn_in):
        with pytest.raises(NotConfirmedError):
            store.add(thing)
    assert store.count() == 0
    store.add(made)
    assert store.count() == 1


def test_a_machine_reading_alone_is_no_record(store):
    with pytest.raises(NotConfirmedError):
        store.add(VolumeReading("read", "mL", 1.0, "pier-60", value=12.0))


@pytest.mark.parametrize("who", [None, "M.K.", "", BED])
def test_bare_text_is_nobody(who):
    with pytest.raises(ConfirmError, match="initials"):
        confirm(draft(), by=who, bed=BED, confirmed_value="1", attestations=YES)
    with pytest.raises(ConfirmError, match="bed code"):
        confirm(draft(), by=BY, bed="QUAY-3", confirmed_value="1", attestations=YES)


@pytest.mark.parametrize("text", ["", " ", "1", ".", "ABCDEFGHI", "A B", "M\nK", "M;K", "<b>"])
def test_no_initials(text):
    with pytest.raises(ConfirmError, match="initials"):
        Initials(text)


@pytest.mark.parametrize("text", ["", " ", "-", "A" * 25, "A\tB;", "a|b", "<x>", "B\x00"])
def test_no_bed_code(text):
    with pytest.raises(ConfirmError, match="bed code"):
        BedCode(text)


def test_codes_are_tidied():
    assert Initials(" m.k. ") == "m.k."
    assert Initials("A\u030asa") == "Åsa"
    assert BedCode("  ICU  4 ") == "ICU 4"


@pytest.mark.parametrize(("value", "sentence"), [
    (None, "Type the value"), ("", "plain number"), ("abc", "plain number"),
    ("1e3", "plain number"), ("inf", "plain number"), ("nan", "plain number"),
    (Decimal("Infinity"), "plain number"), ("-1", "outside"), ("5001", "outside"),
    (23.4, "digit by digit"), (True, "digit by digit"), ("234", "more than this chamber"),
    ("１２", "plain number"),
])
def test_values_that_make_no_sense(value, sentence):
    with pytest.raises(ConfirmError, match=sentence):
        confirm(draft(), by=BY, bed=BED, confirmed_value=value, attestations=YES)


def test_digits_stay_as_typed_and_a_comma_is_a_point():
    assert reading("12,50").content.row()["confirmed_value"] == "12.50"
    assert reading("-0").content.row()["confirmed_value"] == "0"
    assert reading(Decimal("0E+1")).content.row()["confirmed_value"] == "0"


@given(st.decimals(-999999, 999999, places=3))
def test_a_quantity_survives_being_written_and_typed_again(number):
    assert quantity(f"{number:f}") == number


def test_the_four_statements_are_needed_and_a_no_needs_a_note():
    said = Attestations(True, False, True, True)
    with pytest.raises(ConfirmError, match="four things"):
        confirm(draft(), by=BY, bed=BED, confirmed_value="23")
    with pytest.raises(ConfirmError, match="note"):
        confirm(draft(), by=BY, bed=BED, confirmed_value="23", attestations=said)
    with pytest.raises(ConfirmError, match="wrong chamber"):
        confirm(draft(), by=BY, bed=BED, confirmed_value="23", note="x",
                attestations=Attestations(True, True, True, False))
    made = confirm(draft(), by=BY, bed=BED, confirmed_value="23", attestations=said,
                   note="hung askew for the transfer")
    assert made.content.attestations == said


def test_own_reading_first_or_knowingly_skipped():
    assert reading().content.row()["first_read"] == "read"
    skipped = confirm(draft(first=None), by=BY, bed=BED, confirmed_value="23", attestations=YES)
    assert skipped.content.row()["first_read"] == "skipped"
    assert skipped.content.row()["first_value"] is None
    with pytest.raises(ConfirmError, match="own reading"):
        ReadingDraft.by_eye(scale=SCALE, first=OwnReading.skipped())


def test_a_refused_photo_can_still_carry_the_persons_own_reading():
    refused = VolumeReading("refused", "mL", 1.0, "pier-60", flags=("dark",))
    made = confirm(ReadingDraft.of(refused, scale=SCALE, photo_sha256="00" * 32,
                                   first=OwnReading.read("31")),
                   by=BY, bed=BED, confirmed_value="31", attestations=YES)
    row = made.content.row()
    assert (row["machine_status"], row["machine_value"], row["confirmed_value"]) == (
        "refused", None, "31")


def test_the_future_is_not_on_record():
    with pytest.raises(ConfirmError, match="future"):
        reading(happened_at=at(3))
    assert reading(happened_at=at(-90)).content.late_minutes == 90


def test_other_kinds_and_what_they_need():
    def made(what, **more):
        return confirm(what, by=BY, bed=BED, clock=clock(0), **more).content

    level = LevelDraft.of({"status": "read", "offset_cm": -3.4, "interval_cm": [-4.1, -2.7]})
    with pytest.raises(ConfirmError, match="offset"):
        made(level)
    assert made(level, confirmed_value="-3.4").machine.low == Decimal("-4.100")
    assert made(LevelDraft.usual_method()).confirmed_value is None
    with pytest.raises(ConfirmError, match="usual method"):
        made(LevelDraft.usual_method(), confirmed_value="1")
    assert made(SettingDraft("mm[Hg]"), confirmed_value="10").unit == "mm[Hg]"
    with pytest.raises(ConfirmError, match="cm"):
        made(SettingDraft("mL"), confirmed_value="10")
    with pytest.raises(ConfirmError, match="value"):
        made(SettingDraft("cm[H2O]"))
    with pytest.raises(ConfirmError, match="four statements"):
        made(SettingDraft("cm[H2O]"), confirmed_value="10", attestations=YES)
    with pytest.raises(ConfirmError, match="reason"):
        made(SkipDraft("level check", "  "))
    with pytest.raises(ConfirmError, match="which step"):
        made(SkipDraft(" ", "patient asleep"))


def test_orders_keep_their_unit_and_have_no_built_in_limit():
    order = OrderDraft(landmark="tragus", threshold="-5", unit="cm[H2O]",
                       limits={"ml_per_hour": "20"}, tell_whom="neurosurgeon on call")
    content = confirm(order, by=BY, bed=BED).content
    assert (content.confirmed_value, content.unit) == (Decimal(-5), "cm[H2O]")
    assert OrderDraft(drain="continuous").fields()["payload"]["limits"] == {}
    for bad, error in ((OrderDraft(), ConfirmError), (OrderDraft(threshold="10"), ConfirmError),
                       (OrderDraft(threshold="10", unit="cmH2O"), ConfirmError),
                       (OrderDraft(limits={"ml_per_day": "5"}), InputError),
                       (OrderDraft(limits={"ml_per_hour": "0"}), InputError)):
        with pytest.raises(error):
            bad.fields()


@pytest.mark.parametrize(("event", "sentence"), [
    (EventDraft("chamber-filled"), "not one of"),
    (EventDraft("bag-changed", before_ml="3"), "has no before_ml"),
    (EventDraft("chamber-emptied", before_ml="3", after_ml="4"), "More stands"),
    (EventDraft("chamber-emptied", before_ml="-3"), "outside"),
    (EventDraft("sample-taken", volume_ml="3"), "where the sample"),
    (EventDraft("drain-closed", source="port"), "no source"),
    (EventDraft("bag-changed", seen=True), "done, not seen"),
])
def test_events_that_make_no_sense(event, sentence):
    with pytest.raises(ConfirmError, match=sentence):
        confirm(event, by=BY, bed=BED)


def test_corrections_and_withdrawals(store):
    entry = store.add(reading())

    def fix(bed=BED, **changes):
        return confirm(entry.correction("slip", **changes), by=Initials("R.T."), bed=bed)

    with pytest.raises(ConfirmError, match="changes nothing"):
        fix(confirmed_value="23.4")
    with pytest.raises(ConfirmError, match="more than this chamber"):
        fix(confirmed_value="234")
    with pytest.raises(ConfirmError, match="belongs to bed QUAY-3"):
        fix(bed=BedCode("QUAY-4"), confirmed_value="24")
    with pytest.raises(ConfirmError, match="event or an order"):
        fix(payload={"division": "1"})
    with pytest.raises(ConfirmError, match="reason"):
        confirm(entry.correction(" ", confirmed_value="24"), by=BY, bed=BED)
    gone = store.add(confirm(entry.withdrawal("wrong patient"), by=BY, bed=BED, clock=clock(2)))
    for again in (gone.withdrawal("x"), gone.correction("x", confirmed_value="1")):
        with pytest.raises(ConfirmError):
            confirm(again, by=BY, bed=BED)


@pytest.mark.parametrize("text", [
    "x" * 201, "bell \a", "two\nlines", "escape \x1b[2J", "half \ud83d", "next\u2028line",
    "turned \u202e round"])
def test_a_text_is_one_plain_line_of_200_characters(text):
    """Whatever the field of a page let through."""
    for what, more in (
            (draft(), {"note": text, "confirmed_value": "1", "attestations": YES}),
            (EventDraft("bag-changed", detail=text), {}), (SkipDraft(text, "why"), {}),
            (SkipDraft("level check", text), {}), (OrderDraft(landmark=text), {}),
            (OrderDraft(drain=text), {}), (OrderDraft(tell_whom=text), {}),
            (SettingDraft("cm[H2O]", scale=text), {"confirmed_value": "1"}),
            (EventDraft("bag-changed"), {"identity": text * 4})):
        with pytest.raises(ConfirmError, match="one line of plain text"):
            confirm(what, by=BY, bed=BED, **more)


@pytest.mark.parametrize("text", ["\u200b", "\u200d \u200d", "\ufeff", "\u00ad\u0301"])
def test_a_reason_that_nobody_can_see_is_none(text):
    for what in (SkipDraft("level check", text), EventDraft("bag-changed", detail=text)):
        with pytest.raises(ConfirmError, match="nothing that can be read"):
            confirm(what, by=BY, bed=BED)


def test_an_old_long_text_does_not_stand_in_the_way_of_a_correction(tmp_path):
    """It was taken before there was a limit, and a correction of the time carries it on."""
    store = Store.open(tmp_path)
    old = confirm(EventDraft("bag-changed"), by=BY, bed=BED, clock=clock(0)).content
    entry = store.add(seal(replace(old, payload={"detail": "x" * 900})))
    store.add(confirm(entry.correction("later", happened_at=at(1)), by=BY, bed=BED,
                      clock=clock(2)))
    with pytest.raises(ConfirmError, match="detail"):
        confirm(entry.correction("x", payload={"detail": "y" * 300}), by=BY, bed=BED)


@pytest.mark.parametrize("text", [
    "0001-01-01T00:00:00+14:00", "0001-01-01T00:00:00-14:00", "9999-12-31T23:59:59-14:00",
    "9999-12-31T23:59:59+14:00", "0999-01-01T00:00:00+00:00"])
def test_a_time_at_the_ends_of_the_calendar_is_a_sentence(text):
    with pytest.raises(ConfirmError, match="check the date"):
        Moment.of(datetime.fromisoformat(text))
