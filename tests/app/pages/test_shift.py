"""The page "Shift", without a browser: what stands, what is entered, what is corrected."""

from __future__ import annotations

import io
import json
import re
from decimal import Decimal

import pytest
from hour_walk import Hour
from pypdf import PdfReader
from records_help import BED, LOW
from shift_page import Page, ago, put, read

from app.records import BedCode, EventDraft, LevelDraft, OrderDraft, SettingDraft, Store

pytestmark = pytest.mark.slow

LIMITS = {"ml_per_hour": "15", "reading_due_minutes": "60", "level_due_minutes": "240",
          "chamber_full_ml": "40"}


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    return Store.open(tmp_path / "ward")


@pytest.fixture
def morning(store):
    """An order, a level check, two readings an hour apart, the last 70 minutes old."""
    put(store, OrderDraft(landmark="tragus", threshold="10", unit="cm[H2O]", limits=LIMITS,
                          tell_whom="the teacher on duty"), 140)
    put(store, LevelDraft.usual_method(), 139)
    put(store, SettingDraft("mm[Hg]"), 138, confirmed_value="7")
    read(store, "10", 130)
    read(store, "30", 70)
    return store


# --- what stands

def test_without_a_bed_nothing_is_shown(morning):
    page = Page("")
    assert "Next: the bed code." in page.text() and "30 mL" not in page.text()
    page.press("bed-known-sh-QUAY-3")
    assert "Bed QUAY-3" in page.text()


def test_the_address_may_name_the_bed(morning):
    page = Page("", asked=" quay-3")
    assert "Bed QUAY-3" in page.text() and "30 mL" in page.text()
    page.type("sh-bed", "PIER-1")  # what is typed is what counts from then on
    assert "30 mL" not in page.text() and "Bed PIER-1" in page.text()


@pytest.mark.parametrize("asked", ["<b>QUAY-3</b>", "QUAY-3\u200b4", "x" * 300])
def test_an_address_that_names_no_bed_code_is_an_address_without_one(morning, asked):
    page = Page("", asked=asked)
    assert "Next: the bed code." in page.text() and "30 mL" not in page.text()


def test_an_empty_bed_says_so(store):
    text = Page().text()
    for words in ("No level check is on record.", "Nothing in the time shown.",
                  "none is checked", "an output needs two confirmed readings"):
        assert words in text


def test_what_is_overdue_over_the_limit_and_on_the_way_is_said_in_words(morning):
    """By hand: 20 mL in one hour, over 15; the next reading was due 10 min ago;
    from 30 mL at 20 mL/h the chamber holds 40 mL half an hour after the last reading."""
    text = Page().text()
    assert "The reading is overdue" in text and "the next was due at" in text
    assert "20.0 mL/h" in text and "over your limit of 15 mL in an hour" in text
    assert "Tell whom your orders name. Your order says: the teacher on duty." in text
    assert "At the last known rate the chamber would have reached 40 mL" in text
    assert f"{ago(40).local:%H:%M}" in text or f"{ago(41).local:%H:%M}" in text
    assert "1 h 10 min ago" in text
    assert "The level check is stale" not in text


def test_a_setting_that_is_not_as_ordered_is_said(morning):
    assert "etting not as ordered" not in Page().text(), "7 mmHg are 9.5 cmH2O; ordered are 10"
    put(morning, SettingDraft("mm[Hg]"), 5, confirmed_value="10")
    text = Page().text()
    assert 'cs-stop"><p class="cs-head">Setting not as ordered</p>' in text
    assert "The panel is set to 10 mmHg, that is 13.6 cmH2O. The order says 10 cmH2O." in text


def test_a_level_that_was_found_off_is_said_with_its_side(morning):
    assert "does not hang level" not in Page().text()
    put(morning, LevelDraft.of(LOW), 5, confirmed_value="-4.6")
    text = Page().text()
    assert "The drain does not hang level" in text
    assert "; it hangs 4.6 cm too low. Hang it anew, then check the level again." in text
    assert 'cs-note">4.6 cm too low</p>' in text, "on the card, too"
    assert "level check 4.6 cm too low" in text and "-4.6 cm" not in text.split("Level checks")[0]


def test_a_move_makes_the_level_check_stale(morning):
    put(morning, EventDraft("position-changed"), 5)
    text = Page().text()
    assert "The level check is stale" in text and "Check the level again." in text


def test_without_limits_of_the_ward_none_is_checked(store):
    read(store, "1", 120)
    read(store, "60", 60)
    text = Page().text()
    assert "No limits of your ward are on record" in text
    assert "Over your own limit" not in text and "overdue" not in text


def test_a_question_is_shown_until_it_is_answered(store):
    read(store, "40", 120)
    read(store, "12", 60)
    page = Page()
    assert "The chamber held 28 mL less than before" in page.text()
    page.event("chamber-emptied").type("ev-chamber-emptied-*-before_ml", "44,5")
    page.type("ev-chamber-emptied-*-after_ml", "0")
    page.type("ev-when", f"{ago(90).local:%Y-%m-%d %H:%M}").type("ev-late", "a full ward")
    page.confirm_event()
    assert "28 mL less" not in page.text()
    (interval,) = bed_intervals(store)
    assert interval.output_ml == Decimal("16.5")  # 44.5 - 40 + 12 - 0


def bed_intervals(store):
    from app.records.shift import bed_account

    return bed_account(store, BED).account.intervals


def test_plots_say_all_their_numbers_in_words_and_thresholds_in_both_units(morning):
    put(morning, LevelDraft.of({"status": "read", "offset_cm": -2.0, "interval_cm": [-2.5, -1.5],
                                "flags": []}), 20, confirmed_value="-2.0")
    text = Page().text()
    assert "Output in mL/h by interval." in text and ": 20.0 mL/h. Your limit: 15 mL/h." in text
    assert "Cumulative output since the first reading shown." in text and ": 20 mL." in text
    assert "-2 cm" in text.replace("\N{MINUS SIGN}", "-") and "by the usual method" in text
    assert "ordered 10.0 cmH2O (7.4 mmHg)" in text
    # 7 mmHg is 9.5 cmH2O; hanging 2 cm too low makes 7.5 cmH2O (5.5 mmHg).
    assert "panel set to 9.5 cmH2O (7.0 mmHg)" in text
    assert "effective 7.5 cmH2O (5.5 mmHg)" in text


def test_another_bed_is_nowhere_on_the_page(morning):
    read(morning, "55.5", 30, bed=BedCode("PIER-9"))
    text = Page().text()
    assert "55.5" not in text
    assert "55.5" in Page("PIER-9").text()


def test_the_period_limits_what_is_shown(morning):
    page = Page().choose("sh-period", "Everything")
    read(morning, "33", 0, happened_at=ago(13 * 60))
    page.choose("sh-period", "12 hours")
    assert "chamber reading 33 mL" not in page.text()
    page.choose("sh-period", "24 hours")
    assert "chamber reading 33 mL" in page.text()


@pytest.mark.parametrize("starts", ["", "7", "25:00", "19:00,07:00", "seven"])
def test_shift_times_that_make_no_sense_are_answered(morning, starts):
    page = Page().type("sh-starts", starts).press("sh-starts-keep")
    assert "like 07:00,19:00" in page.text() or "different times of the day" in page.text()
    assert "Shifts start at 07:00, 19:00" in page.at.expander[0].label


# --- events

@pytest.mark.parametrize("name", ["bag-changed", "drain-closed", "drain-opened",
                                  "position-changed"])
def test_an_event_is_one_entry_of_its_own(store, name):
    page = Page().event(name)
    assert list(store.entries()) == []
    page.confirm_event()
    (entry,) = store.entries()
    assert (entry.kind, entry.event, entry.bed, entry.initials) == ("event", name, BED, "M.K.")
    assert entry.identity is None and "On record" in page.text()


def test_an_emptying_keeps_its_digits(store):
    page = Page().event("chamber-emptied").type("ev-chamber-emptied-*-before_ml", "44,50")
    page.confirm_event()
    (entry,) = store.entries()
    assert entry.payload == {"before_ml": "44.50"}, "what was not read is not there"


def test_a_sample_needs_its_place(store):
    page = Page().event("sample-taken").type("ev-sample-taken-*-volume_ml", "2")
    page.confirm_event()
    assert list(store.entries()) == [] and "Say where the sample was taken" in page.text()
    page.choose("ev-sample-taken-*-source", "from the chamber").confirm_event()
    (entry,) = store.entries()
    assert entry.payload == {"volume_ml": "2", "source": "chamber"}


def test_no_initials_no_entry_and_a_second_tap_adds_nothing(store):
    page = Page().event("bag-changed").press("confirm-ev-")
    assert "Type your initials" in page.text() and list(store.entries()) == []
    page.type("by-ev-", "M.K.").press("confirm-ev-")
    assert store.count() == 1
    assert not [b for b in page.at.button if b.key and b.key.startswith("confirm-ev-")], \
        "the form is gone, so a second tap meets nothing"
    state = page.at.session_state["shift_state"]
    assert state.event.turn == 2, "one for the bed, one for the entry"


def test_the_same_form_sent_twice_is_one_entry(store):
    """A connection that broke before the answer came: the form is sent again as it was."""
    page = Page().event("bag-changed")
    key = page.at.session_state["shift_state"].event.key
    page.confirm_event()
    state = page.at.session_state["shift_state"]
    state.event.key = key
    page.event("bag-changed").confirm_event()
    assert store.count() == 1


@pytest.mark.parametrize(("field", "text", "said"), [
    ("ev-chamber-emptied-*-before_ml", "a lot", "Type one plain number"),
    ("ev-chamber-emptied-*-before_ml", "-3", "outside"),
    ("ev-chamber-emptied-*-before_ml", "1,234.5", "Type one plain number"),
    ("ev-when", "ten", "Type a time as 14:05"),
    ("ev-when", "2090-01-01 10:00", "has not come yet"),
])
def test_what_makes_no_sense_is_answered_and_not_recorded(store, field, text, said):
    page = Page().event("chamber-emptied").type(field, text).confirm_event()
    assert list(store.entries()) == [] and said in page.text()


def test_a_late_event_stands_where_it_happened(store):
    when = ago(45)
    page = Page().event("drain-closed").type("ev-when", f"{when.local:%Y-%m-%d %H:%M}")
    page.confirm_event()
    assert list(store.entries()) == [] and "Say why it is entered late" in page.text()
    typed = when.local.replace(second=0, microsecond=0)
    soonest = (ago(0).local - typed).total_seconds() / 60
    page.type("ev-late", "busy next door").confirm_event()
    latest = (ago(0).local - typed).total_seconds() / 60
    (entry,) = store.entries()
    assert entry.reason == "busy next door" and "entered late: busy next door" in page.text()
    assert soonest <= entry.late_minutes <= latest
    assert f"{when.local:%H:%M}" in page.text()


def test_another_bed_empties_the_form(store):
    page = Page().event("chamber-emptied").type("ev-chamber-emptied-*-before_ml", "44")
    page.type("sh-bed", "PIER-9")
    assert not [t for t in page.at.text_input if (t.key or "").startswith("ev-chamber-emptied")]


# --- corrections

def test_a_correction_is_a_new_entry_with_a_reason(morning):
    last = morning.last(BED, "volume-reading").entry
    page = Page().entry(last.number).choose("co-way-", "Correct it")
    page.type("co-value-", "20,5").confirm_correction()
    assert "reason" in page.text().lower() and morning.count() == 5, "no reason, no entry"
    page.type("co-why-", "typed a 3 for a 2").confirm_correction()
    stands = morning.last(BED, "volume-reading")
    assert stands.corrected and stands.entry.confirmed_value == Decimal("20.5")
    assert stands.entry.initials == "R.T." and stands.original.confirmed_value == 30
    text = page.text()
    assert "corrected (was entry 5)" in text and "typed a 3 for a 2" in text


def test_the_entry_that_is_corrected_is_said_from_the_list_to_the_button(morning):
    page, at = Page(), f"{ago(70).local:%Y-%m-%d}"
    (choice,) = [s for s in page.at.selectbox if (s.key or "").startswith("co-")]
    assert choice.options[0].startswith("5: chamber reading 30 mL, ")
    assert choice.options[3].startswith("2: level check, usual method, ")
    page.entry(5)
    assert re.search(rf"Entry 5: {at} [0-9:]+ chamber reading 30 mL, confirmed by M\.K\.",
                     page.text())
    for way, words in (("Take it back", "take back"), ("Correct it", "correct")):
        page.choose("co-way-", way)
        assert f"Confirm: {words} entry 5" in [b.label.strip("` ") for b in page.at.button]


def test_time_and_volumes_can_be_corrected(store):
    read(store, "40", 120)
    event = put(store, EventDraft("chamber-emptied", after_ml="0", detail="bag full"), 90)
    read(store, "5", 60)
    page = Page().entry(event.number).choose("co-way-", "Correct it")
    page.type("co-*-before_ml", "44").type("co-when-", f"{ago(100).local:%Y-%m-%d %H:%M}")
    page.type("co-why-", "asked the colleague").confirm_correction()
    stands = store.last(BED, "chamber-emptied").entry
    assert stands.payload == {"before_ml": "44", "after_ml": "0", "detail": "bag full"}
    assert 99 <= (ago(0).utc - stands.happened.utc).total_seconds() / 60 <= 102
    (interval,) = bed_intervals(store)
    assert interval.output_ml == 9


def test_taking_back_leaves_it_readable_and_counts_nowhere(morning):
    last = morning.last(BED, "volume-reading").entry
    page = Page().entry(last.number).choose("co-way-", "Take it back")
    page.type("co-why-", "belongs to PIER-9").confirm_correction()
    assert [s.withdrawn for s in morning.current(BED, kind="volume-reading", withdrawn=True)] == \
        [False, True]
    text = page.text()
    assert "taken back by R.T.: belongs to PIER-9" in text
    assert bed_intervals(morning) == ()


@pytest.mark.parametrize("emptied", ["Emptied to 0", "Not emptied"])
def test_what_was_put_on_record_with_what_is_taken_back_is_named(store, tmp_path, emptied):
    """A wrong bed makes all of one press false, and only one entry of it is taken back here;
    the order before it and the event after it are of other presses."""
    Hour(tmp_path / "ward").checks().by_eye().say(emptied=emptied).put()
    put(store, EventDraft("bag-changed"), 0)
    left = [2, 3, 4, 6] if emptied == "Emptied to 0" else [2, 3, 4]
    page = Page().entry(5).choose("co-way-", "Take it back")
    text = page.type("co-why-", "wrong bed").confirm_correction().text()
    named = ", ".join(map(str, left[:-1])) + f" and {left[-1]}"
    assert f"Put on record with it and still standing: entries {named}." in text
    assert f"{left[0]}: level check, usual method; 3: setting check 13.6 cmH2O; " in text
    for number in left[:-1]:  # and from each of them the rest is found
        page.entry(number).choose("co-way-", "Take it back")
        text = page.type("co-why-", "wrong bed").confirm_correction().text()
    assert f"Put on record with it and still standing: entry {left[-1]}." in text
    page.entry(left[-1]).choose("co-way-", "Take it back")
    assert "Put on record with it" not in page.type("co-why-", "wrong").confirm_correction().text()


def test_an_entry_made_alone_is_taken_back_without_a_word_on_others(morning):
    page = Page().entry(4).choose("co-way-", "Take it back").type("co-why-", "wrong bed")
    text = page.confirm_correction().text()
    assert "entry 4 is taken back" in text and "Put on record with it" not in text


def test_an_order_is_not_corrected_here(morning):
    page = Page().entry(1)
    assert "A changed order is a new order" in page.text()
    (group,) = [g for g in page.at.button_group if (g.key or "").startswith("co-way-")]
    assert list(group.options) == ["Take it back"]


def test_two_people_correct_the_same_entry(morning):
    last = morning.last(BED, "volume-reading").entry
    pages = [Page().entry(last.number).choose("co-way-", "Take it back")
             .type("co-why-", "wrong").type("by-co-", "R.T.") for _ in range(2)]
    for page in pages:
        page.press("confirm-co-")
    assert morning.count() == 6
    assert "corrected or withdrawn in the meantime" in pages[1].text()


# --- papers

def test_sheet_and_files_of_one_bed(morning):
    read(morning, "55.5", 30, bed=BedCode("PIER-9"))
    page = Page().press("sh-prepare")
    assert "All 6 entries are whole." in page.text() and "To note elsewhere: 6:" in page.text()
    papers = page.at.session_state["shift_state"].papers
    sheet = " ".join(p.extract_text() for p in PdfReader(io.BytesIO(papers.pdf)).pages)
    assert "Hand-over, bed QUAY-3" in sheet and "All 6 entries are whole." in sheet
    assert papers.csv.decode().count("\n") == 6, "a head and five entries"
    bundle = json.loads(papers.fhir)
    assert len(bundle["entry"]) == 5 and b"55.5" not in papers.fhir + papers.csv
    files = [p for p in page.text().split("\n") if "handover-" in p]
    assert not any("QUAY" in f for f in files), "no bed code in a file's name"
    page.press("sh-forget")
    assert page.at.session_state["shift_state"].papers is None


def test_prepared_papers_go_when_something_is_recorded_or_the_bed_changes(morning):
    page = Page().press("sh-prepare").event("bag-changed").confirm_event()
    assert page.at.session_state["shift_state"].papers is None
    page.press("sh-prepare").type("sh-bed", "PIER-9")
    assert page.at.session_state["shift_state"].papers is None


def test_prepared_papers_are_of_the_period_shown(morning):
    """Also where the press comes before the page was drawn with the period chosen."""
    page = Page().choose("sh-period", "Everything")
    next(g for g in page.at.button_group if g.key == "sh-period").set_value("12 hours")
    page.press("sh-prepare")
    assert page.at.session_state["shift_state"].papers.period == "12 hours"
    assert "Checked at" in page.text() and "Hand-over sheet" in page.text()
    assert "Hand-over sheet" not in page.choose("sh-period", "Everything").text()


def test_two_sessions_share_nothing(morning):
    """What one person has typed or prepared is in no other session."""
    one, other = Page(), Page("")
    one.press("sh-prepare").event("bag-changed").type("ev-detail", "half typed")
    text = other.run().text()
    assert "half typed" not in text and "To note elsewhere" not in text
    assert other.at.session_state["shift_state"].papers is None


# --- what is charted beside the volumes

def test_the_look_of_the_fluid_is_one_tap_and_compared_with_the_last_one(store):
    put(store, EventDraft("fluid-seen", look="clear"), 60)
    page = Page().event("fluid-seen")
    assert "Last time: clear" in page.text()
    page.choose("ev-fluid-seen-*-look", "pink")
    assert "Changed: pink, it was clear" in page.text()
    page.confirm_event()
    assert store.entries()[-1].payload == {"look": "pink"} and "fluid pink" in page.text()


def test_who_was_told_answers_what_is_over_the_limit(store):
    put(store, OrderDraft(landmark="ear canal", limits={"ml_per_hour": "10"}), 130)
    read(store, "10", 100)
    read(store, "30", 40)
    page = Page()
    assert "Over your own limit" in page.text() and "and told" not in page.text()
    page.event("person-told").confirm_event()
    assert "Say what was told" in page.text() and store.count() == 3
    page.choose("ev-person-told-*-about", "over the hour's limit")
    page.type("ev-person-told-*-whom", "doctor on call").type("ev-person-told-*-reply", "will come")
    page.confirm_event()
    text = page.text()
    assert "Over your own limit, and told" in text and "answer: will come" in text
    assert "Tell whom your orders name" not in text, "no longer among what needs a person"


def test_a_clamp_for_transport_shows_its_clock(store):
    page = Page().event("clamped").confirm_event()
    (entry,) = store.entries()
    assert (entry.event, entry.payload) == ("drain-closed", {"closed_for": "transport"})
    assert "Clamped for transport since" in page.text() and "0 min now" in page.text()
    page.event("drain-opened").confirm_event()
    assert "Clamped for transport since" not in page.text()


def test_a_reading_from_paper_carries_its_true_time_and_why_it_is_late(store):
    page = Page().event("read").type("ev-read-*-value", "18,5")
    read_at = ago(60).local.replace(second=0, microsecond=0)
    page.type("ev-when", f"{read_at:%Y-%m-%d %H:%M}")
    for name in ("outlet_closed", "hanging_plumb", "patient_undisturbed",
                 "right_chamber_and_scale"):
        page.choose(f"ev-read-*-{name}", "Yes")
    next(s for s in page.at.selectbox if (s.key or "").startswith("ev-read-")).set_value("quay-60")
    page.run().confirm_event()
    assert "Say why it is entered late" in page.text()
    soonest = (ago(0).local - read_at).total_seconds() / 60
    page.type("ev-late", "written on paper, no phone at hand").confirm_event()
    latest = (ago(0).local - read_at).total_seconds() / 60
    entry = store.entries()[-1]
    assert (str(entry.confirmed_value), entry.scale) == ("18.5", "quay-60")
    assert soonest <= entry.late_minutes <= latest and entry.reason.startswith("written on paper")


def test_another_drain_of_the_patient_is_told(store):
    put(store, EventDraft("bag-changed"), 5, bed=BedCode("QUAY-3 / R"))
    put(store, EventDraft("bag-changed"), 4, bed=BedCode("QUAY-3 / L"))
    assert "This patient has another drain" in Page("quay-3 / r").text()
