"""The pages "Round" and "Orders" without a browser: what goes on record, and what does not."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from chamber_page import MAIN
from hour_walk import BED, Hour, Walk, entries, ordered
from shift_page import ago

from app.bed_scales import keep_scale
from app.exports.entry_words import what
from app.records import (
    Attestations,
    BedCode,
    EventDraft,
    Initials,
    LevelDraft,
    OwnReading,
    ReadingDraft,
    Store,
    confirm,
)
from app.rounds import RoundBook
from app.shift_times import keep_shift_starts
from app.ui import kept
from app.ui.missing import HEAD
from app.ui.round.drain import disagreement
from vision.output.model import hm
from vision.scale_file.scale import load_scale, parse_scale

pytestmark = pytest.mark.slow

QUAY_FILE = (Path(__file__).resolve().parents[3]
             / "vision" / "data" / "scales" / "quay-60.json").read_text(encoding="utf-8")


@pytest.fixture
def data(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path))
    return tmp_path


def test_main_script_exists():
    assert MAIN.exists()


def test_an_order_is_typed_and_confirmed(data):
    ordered(data, "10,5")
    (entry,) = entries(data)
    assert (entry.kind, entry.confirmed_value, entry.unit) == ("order", Decimal("10.5"), "mm[Hg]")
    assert entry.payload["landmark"] == "ear canal" and entry.initials == "R.T."


def test_nothing_is_recorded_without_landmark_or_unit(data):
    page = Walk("orders").fill("Bed code", BED).fill("Ordered threshold", "10")
    page.fill("Your initials", "R.T.").press("Confirm the order")
    assert HEAD in page.text() and entries(data) == ()
    assert HEAD not in page.fill("Landmark", "ear canal").text(), "what is done is not missing"


def test_an_order_below_zero_is_taken(data):
    page = Walk("orders").fill("Bed code", BED).fill("Landmark", "ear canal")
    page.fill("Ordered threshold", "5").choose("Unit", "cmH2O")
    next(c for c in page.at.checkbox if c.label.startswith("below zero")).check()
    page.at.radio[0].set_value("continuously")
    page.run().fill("Your initials", "R.T.").press("Confirm the order")
    assert entries(data)[0].confirmed_value == -5


def test_a_unit_slip_is_questioned_and_recorded_only_after_the_order_was_looked_at(data):
    """The ratio 13.6 printed as '1 mmHg = 13.6 cmH2O' in a course syllabus (v10.3, 2006)."""
    ordered(data, "10", "mmHg")
    page = ordered(data, "136", "cmH2O")
    assert len(entries(data)) == 1 and "mixed-up unit" in page.text()
    next(c for c in page.at.checkbox if c.label.startswith("I looked at the written")).check()
    page.run().press("Confirm the order")
    assert [e.confirmed_value for e in entries(data)] == [10, 136]


def test_a_changed_order_is_a_new_entry_and_the_old_one_stays(data):
    ordered(data, "10")
    ordered(data, "12")
    first, second = entries(data)
    assert (first.kind, second.kind) == ("order", "order")
    assert Store.open(data).last(BED, "order").entry.confirmed_value == 12


def test_one_press_puts_everything_of_the_hour_on_record_in_the_order_of_the_work(data):
    page = Hour(data).checks().by_eye().say(emptied="Emptied to 0").put()
    assert [e.event or e.kind for e in entries(data)] == [
        "order", "level-check", "setting-check", "drain-opened", "volume-reading",
        "chamber-emptied"]
    level, setting, drain, reading, emptied = entries(data)[1:]
    assert {str(e.initials) for e in entries(data)[1:]} == {"M.K."}
    assert (setting.confirmed_value, setting.unit) == (Decimal("13.6"), "cm[H2O]")
    assert level.payload["landmark"] == "ear canal" and drain.payload["seen"] is True
    assert reading.confirmed_value == reading.first.value == Decimal("23.5")
    assert (emptied.payload["before_ml"], emptied.payload["after_ml"]) == ("23.5", "0")
    assert what(drain) == "drain seen open at the round"
    assert "On record: level check" in page.text() and Store.open(data).verify().ok


def test_nothing_goes_on_record_while_anything_is_missing_and_all_of_it_is_named(data):
    page = Hour(data).by_eye()
    page.press("Put on record")
    for said in ("all four statements", "how the level is", "what the panel is set to",
                 "open or closed", "whether the chamber was emptied", "Type your initials"):
        assert said in page.text(), said
    assert [e.kind for e in entries(data)] == ["order"]


def test_what_was_missing_at_a_press_is_not_said_once_anything_was_done_about_it(data):
    page = Hour(data).checks().by_eye().press("Put on record")
    assert HEAD in page.text() and "all four statements" in page.text()
    assert HEAD in page.run().text(), "nothing was changed"
    page.fill("Your initials", "M.K.")
    assert HEAD not in page.text() and HEAD not in page.run().text()
    page.press("Put on record")  # and again as long as something is missing
    assert HEAD in page.text() and "all four statements" in page.text()
    assert "Type your initials" not in page.text()
    page.press("Back to level")
    assert HEAD not in page.text(), "it is no word on an hour without a reading"
    assert [e.kind for e in entries(data)] == ["order"]


def test_an_hour_without_a_reading_that_misses_something_says_so_until_it_is_changed(data):
    page = Hour(data).press("No reading")
    assert HEAD in page.text() and "Type your initials" in page.text()
    assert HEAD not in page.fill("Your initials", "M.K.").text()


def test_a_second_tap_is_no_second_hour(data):
    page = Hour(data).checks().by_eye().say()
    page.fill("Your initials", "M.K.")
    button = next(b for b in page.at.button if b.label == "Put on record")
    button.click()
    page.at.run()
    button.click()
    page.run()
    assert [e.kind for e in entries(data)].count("volume-reading") == 1
    assert "On record: " in page.text(), "also where another tab of this browser pressed first"


def test_what_still_holds_is_a_line_and_not_asked_again(data):
    Hour(data).checks().by_eye().say().put()
    page = Hour(data)
    text = page.text()
    for line in ("Level checked", "Setting as ordered, checked"):
        assert re.search(f"{line} [0-9: -]+ by M.K., valid until", text)
    page.choose("The drain to the chamber", "Open")
    page.by_eye("24").say().put()
    assert [e.kind for e in entries(data)][-2:] == ["event", "volume-reading"]


@pytest.mark.parametrize("moved", ["order", "position"])
def test_a_check_is_due_again_once_the_order_or_the_position_changed(data, moved):
    Hour(data).checks().by_eye().say().put()
    if moved == "order":
        ordered(data, "12")
        assert "Setting: the order is newer than the last check" in Hour(data).text()
        return
    Store.open(data).add(confirm(EventDraft("position-changed"), by=Initials("M.K."),
                                 bed=BedCode(BED)))
    text = Hour(data).text()
    assert "Check the level again" in text
    assert "Setting: the position changed after the last check" in text


def test_the_wards_own_scale_is_preset_or_asked_for_by_its_name(data):
    scale = parse_scale({**json.loads(QUAY_FILE), "name": "ward-60"})
    Store.open(data).add(confirm(
        ReadingDraft.by_eye(scale=scale, first=OwnReading.read("12")), by=Initials("R.T."),
        bed=BedCode(BED), confirmed_value="12", attestations=Attestations(True, True, True, True)))
    page = Hour(data).press("Without a photo")
    assert "the ward's own scale 'ward-60', whose file is not kept here" in page.text()
    keep_scale(data, BED, json.dumps({**json.loads(QUAY_FILE), "name": "ward-60"}).encode())
    page = Hour(data).press("Without a photo")
    assert "not kept here" not in page.text() and "Scale of this bed: ward-60" in page.text()


def test_no_order_and_no_scale_are_spoken_of_that_are_not_there(data):
    page = Walk("round", BED)
    assert "Level at the landmark (no order is on record)" in page.text()
    assert "landmark of the order" not in page.text()
    first = Hour(data).checks().press("Without a photo")
    first.at.radio[0].set_value("quay-60")
    first.run()
    assert "Scale chosen: quay-60" in first.text() and "Scale of this bed" not in first.text()
    first.fill("Your reading in mL", "23.5").press("This is my reading").say().put()
    later = Hour(data).press("Without a photo")
    assert "Scale of this bed: quay-60" in later.text()


def test_what_is_left_out_needs_a_reason_and_stands_on_record_as_skipped(data):
    page = Hour(data).choose("Level at the landmark", "Not now")
    page.choose("The drain to the chamber", "Not looked").tick("-not")
    page.by_eye().say().put()
    assert "Say why there is no level check" in page.text() and len(entries(data)) == 1
    page.press("Back to level")
    for name in ("level check", "drain state", "setting against the order"):
        page.fill(f"Why no {name}", "patient in theatre")
    page.at.query_params["at"] = "both"
    page.run().put()
    skipped = entries(data, "skipped-step")
    assert {e.payload["step"] for e in skipped} == {
        "level check", "drain state", "setting against the order"}
    assert {e.reason for e in skipped} == {"patient in theatre"}


def test_an_hour_without_a_reading_is_on_record_with_its_reason(data):
    page = Hour(data)
    page.fill("Your initials", "M.K.").press("No reading: put it on record")
    assert "a reason is needed" in page.text() and len(entries(data)) == 1
    page.fill("Why there is no reading", "in the scanner").press("No reading: put it on record")
    assert [(e.payload.get("step"), e.reason) for e in entries(data)[1:]] == [
        ("chamber reading", "in the scanner")]


def test_what_the_order_says_is_not_shown_before_the_panel_was_read(data):
    page = Hour(data)
    assert "The order says" not in page.text().split("Last known, and the order")[0]
    page.fill("The panel is set to", "10").choose("Unit printed", "cmH2O")
    assert "mmHg below the order" in page.text()
    page.fill("The panel is set to", "13,6")
    assert "They agree" in page.text()
    page.choose("Level at the landmark", "Found level").choose("The drain", "Open")
    page.by_eye().say().put()
    (setting,) = entries(data, "setting-check")
    assert setting.note == "First typed as 10 cmH2O, before the order was shown."


def test_a_setting_whose_unit_is_asked_about_waits_for_the_answer(data):
    page = Hour(data).checks()
    page.fill("The panel is set to", "10")
    assert "mixed-up unit" in page.text()
    page.by_eye().say().put()
    assert "Answer the question about the unit first" in page.text() and len(entries(data)) == 1
    page.press("Back to level")
    next(c for c in page.at.checkbox if "unit-right" in (c.key or "")).check()
    page.run()
    page.at.query_params["at"] = "both"
    page.run().put()
    assert [e.confirmed_value for e in entries(data, "setting-check")] == [Decimal(10)]
    assert "Setting: not as ordered at the last check" in Hour(data).text()


def test_a_setting_without_its_unit_is_not_recorded(data):
    page = Hour(data).choose("Level at the landmark", "Found level").choose("The drain", "Open")
    page.fill("The panel is set to", "10")
    page.by_eye().say().put()
    assert "Choose the unit" in page.text() and len(entries(data)) == 1


@pytest.mark.parametrize(("how", "seen"), [("continuously", "Closed"),
                                           ("closed, measure only", "Open")])
def test_a_drain_that_is_not_as_ordered_needs_a_reason(data, how, seen):
    page = Hour(data, drain=how).checks(drain=seen)
    assert f"you see the drain {seen.lower()}." in page.text()
    page.by_eye().say().put()
    assert "If it is so, say why" in page.text() and len(entries(data)) == 1
    page.press("Back to level").fill("Why it is not", "in the scanner")
    page.at.query_params["at"] = "both"
    page.run().put()
    assert entries(data, "event")[0].payload["detail"] == "at the round; in the scanner"


def test_a_drain_that_is_not_as_it_was_left_is_asked_about(data):
    store = Store.open(data)
    store.add(confirm(EventDraft("drain-closed"), by=Initials("R.T."), bed=BedCode(BED)))
    assert "nobody has entered the change" in Hour(data, drain="by volume").checks().text()


def test_the_look_of_the_fluid_is_one_tap_and_nobody_has_to_say_it(data):
    Hour(data).checks().choose("Look of the fluid", "pink").by_eye().say().put()
    (seen,) = entries(data, "fluid-seen")
    assert seen.payload["look"] == "pink"


def test_near_the_fill_limit_a_chamber_is_emptied_or_it_is_said_why_not(data):
    page = Walk("orders").fill("Bed code", BED).fill("Landmark", "ear canal")
    page.at.radio[0].set_value("continuously")
    page.run().fill("Empty the chamber at", "20").fill("Your initials", "R.T.")
    page.press("Confirm the order")
    page = Hour(data).choose("Level at the landmark", "Found level").choose("The drain", "Open")
    page.tick("-not").fill("Why no setting", "no panel").by_eye().say().put()
    assert "Your fill limit is 20 mL" in page.text()
    assert "Say why there is no emptying" in page.text() and len(entries(data)) == 1
    page.fill("Why no emptying", "the doctor wants to see it").put()
    assert entries(data)[-1].payload["step"] == "emptying the chamber"


def test_the_limit_of_a_shift_is_judged_at_the_hour_by_the_wards_own_times(data):
    then = datetime.now().astimezone() - timedelta(hours=12)
    keep_shift_starts(str(data), f"{then:%H:00}")
    page = Walk("orders").fill("Bed code", BED).fill("Landmark", "ear canal")
    page.at.radio[0].set_value("continuously")
    page.run().fill("At most in a shift", "5").fill("Your initials", "R.T.")
    page.press("Confirm the order")
    Store.open(data).add(confirm(
        ReadingDraft.by_eye(scale=load_scale("quay-60"), first=OwnReading.read("12")),
        by=Initials("R.T."), bed=BedCode(BED), confirmed_value="12", happened_at=ago(60),
        attestations=Attestations(True, True, True, True)))
    page = Hour(data).checks().by_eye("23,5").say().put()
    assert "over your limit of 5 mL" in page.text()
    assert f"This shift, since {hm(then.replace(minute=0), datetime.now())}" in page.text()


def test_one_of_the_four_denied_asks_which_and_needs_a_note(data):
    page = Hour(data).checks().by_eye().say(four="Not all").put()
    assert "Say of all four statements" in page.text()
    for statement in ("The outlet", "The chamber hangs", "It is the right"):
        page.choose(statement, "Yes")
    page.choose("The patient", "No").fill("Note: what was so", "coughed").put()
    (reading,) = entries(data, "volume-reading")
    assert not reading.attestations.patient_undisturbed and reading.note == "coughed"


def test_a_colleagues_reading_that_came_meanwhile_is_asked_about_once(data):
    mine = Hour(data).checks().by_eye().say()
    Hour(data).checks().by_eye("23").say().put("R.T.")
    mine.put()
    assert "R.T. put 23 mL on record" in mine.text() and len(entries(data, "volume-reading")) == 1
    mine.put()
    assert len(entries(data, "volume-reading")) == 2


def test_the_ward_sees_who_is_at_a_bed_and_how_far(data):
    page = Hour(data).by_eye()
    (round_,) = RoundBook(data / "rounds").all()
    assert (round_.bed, round_.at) == (BED, "both")
    page.press("Go to another bed")
    assert "Begun at" in page.text() and "both readings, not confirmed" in page.text()


def test_who_begins_again_is_not_at_the_bed_any_more(data):
    page = Hour(data).checks().by_eye()
    page.at.query_params["at"] = "own"
    page.run().press("Take a photo after all")
    assert RoundBook(data / "rounds").all() == () and "Without a photo" in page.text()
    assert not page.state.chamber.own


def test_a_step_back_shows_the_reading_that_stands_and_no_field_for_another(data):
    page = Hour(data).checks().by_eye()
    page.at.query_params["at"] = "own"
    page.run()
    assert "You read 23.5." in page.text()
    assert not [t for t in page.at.text_input if t.label.startswith("Your reading")]


@pytest.mark.parametrize(("event", "ordered_", "was_open", "asked"), [
    ("drain-closed", "by volume: 10 mL every hour", None, False),
    ("drain-opened", "by volume: 10 mL every hour", True, False),
    ("drain-closed", "", None, False), ("drain-closed", "continuously", False, True),
    ("drain-opened", "continuously", False, True)])
def test_what_the_drain_is_compared_with(event, ordered_, was_open, asked):
    assert bool(disagreement(event, ordered_, was_open)) is asked


def test_limits_of_an_absurd_size_go_on_record_only_after_the_order_was_looked_at(data):
    page = Walk("orders").fill("Bed code", BED).fill("Landmark", "ear canal")
    page.at.radio[0].set_value("continuously")
    page.run().fill("At most in an hour", "1000").fill("Whom to tell", "the doctor on call")
    assert "1000 mL is far from what orders usually say" in page.text()
    page.fill("Your initials", "R.T.").press("Confirm the order")
    assert "question about the limits" in page.text() and entries(data) == ()
    next(c for c in page.at.checkbox if "these limits are right" in c.label).check()
    assert "tell the doctor on call; at most 1000 mL in an hour." in page.run().text()
    page.press("Confirm the order")
    assert entries(data)[0].payload["limits"] == {"ml_per_hour": "1000"}


def test_a_level_check_after_a_move_is_said_to_be_stale(data):
    store, by, bed = Store.open(data), Initials("M.K."), BedCode(BED)
    store.add(confirm(LevelDraft.usual_method(), by=by, bed=bed))
    store.add(confirm(EventDraft("position-changed"), by=by, bed=bed))
    assert "the position changed" in Walk("round", BED).text()


def test_a_damaged_state_is_said_and_put_aside_and_stops_nobody(data):
    Hour(data).by_eye()
    (path,) = (data / "rounds").glob("*.json")
    path.write_text("{")
    page = Hour(data)
    assert "cannot be read" in page.text() and "Without a photo" in page.text()
    page.press("Put the damaged state aside")
    assert list((data / "rounds").iterdir()) == [] and len(entries(data)) == 1


@pytest.mark.parametrize("bed", ["<b>", "x" * 40, "../../etc", "a\x00b"])
def test_a_strange_bed_in_the_address_opens_nothing(data, bed):
    page = Walk("round", bed)
    assert "Open this bed" in page.text() and not (data / "rounds").exists()


EXAMPLES = Path(__file__).resolve().parents[4] / "shared" / "examples" / "level"


def with_cards(page: Hour, least_mm: float) -> tuple[Hour, dict]:
    """The first example photo whose level is off by so much, measured, after one's own look."""
    labels = EXAMPLES / "labels.jsonl"
    if not labels.exists():
        pytest.skip("The example photos of levels do not lie beside this checkout.")
    label = next(x for x in map(json.loads, labels.read_text(encoding="utf-8").splitlines())
                 if x.get("mode") == "cards" and x["expect"] == "read"
                 and abs(x["true_offset_mm"]) > least_mm)  # else it cannot be told from level
    page.choose("Level at the landmark", "With a photo")
    assert not [u for u in page.at.file_uploader if (u.key or "").startswith("photo-level")]
    page.choose("You first", "Cannot tell")
    next(u for u in page.at.file_uploader if (u.key or "").startswith("photo-level")).upload(
        "a.jpg", (EXAMPLES / label["file"]).read_bytes(), "image/jpeg")
    page.run()
    return page, label


def test_a_level_that_is_off_is_hung_anew_and_checked_again_and_both_go_on_record(data):
    page, label = with_cards(Hour(data), 25)
    assert "not a record" in page.text() and "You saw: Cannot tell." in page.text()
    page.choose("The drain", "Open").fill("The panel is set to", "13,6")
    page.choose("Unit printed", "cmH2O").by_eye().say().put()
    assert "Hang it anew and check it again" in page.text() and len(entries(data)) == 1
    page.press("Back to level").press("I have hung it anew: check again")
    page.at.query_params["at"] = "both"
    page.run().put()
    assert "hang it anew and check the level again" in page.text() and len(entries(data)) == 1
    page.press("Back to level").choose("Level at the landmark", "Found level")
    page.at.query_params["at"] = "both"
    page.run().put()
    found, again = entries(data, "level-check")
    assert abs(float(found.confirmed_value) * 10 - label["true_offset_mm"]) < 18
    assert (found.payload["seen_first"], found.unit) == ("Cannot tell", "cm")
    assert again.payload["method"] == "usual" and again.happened.utc >= found.happened.utc


def test_a_file_that_is_no_photo_gets_a_sentence(data):
    page = Hour(data)
    next(u for u in page.at.file_uploader if (u.key or "").startswith("photo-round")).upload(
        "a.jpg", b"<html>no photo</html>", "image/jpeg")
    page.run()
    assert "This photo cannot be used" in page.text() and page.state.chamber.photo is None


@pytest.fixture
def one_browser(monkeypatch):
    """Every page opened is a reload in the same browser."""
    monkeypatch.setattr(kept, "_things", {})
    monkeypatch.setattr(kept, "_browser", lambda: "one")


def test_an_order_half_typed_outlives_a_reload_and_the_address_names_its_bed(data, one_browser):
    page = Walk("orders").fill("Bed code", BED.lower()).fill("Landmark", "ear canal")
    page.fill("Ordered threshold", "10").choose("Unit", "mmHg")
    page.at.radio[0].set_value("by volume")
    page.run().fill("How much", "10 mL every hour").fill("Whom to tell", "the doctor on call")
    page.at.checkbox[0].check().run()
    assert page.at.query_params["bed"] == BED
    page = Walk("orders", BED)
    said = ("Landmark: ear canal; threshold -10 mmHg", "by volume (10 mL every hour)",
            "tell the doctor on call")
    assert [s for s in said if s not in page.text().replace("\N{MINUS SIGN}", "-")] == []
    assert "You confirm" not in Walk("orders", "PIER-9").text(), "it is of its bed alone"
    page.at.radio[0].set_value("continuously")
    page.run().fill("Your initials", "R.T.").press("Confirm the order")
    (entry,) = entries(data)
    assert entry.confirmed_value == -10 and "10 mL" not in what(entry)
    assert "You confirm" not in Walk("orders", BED).text(), "the next one is typed anew"


def test_the_address_of_the_orders_holds_bed_codes_only(data):
    page = Walk("orders").fill("Bed code", "Mrs. A. Example, room 4")
    assert "bed" not in page.at.query_params
    assert page.fill("Bed code", BED).at.query_params["bed"] == BED
