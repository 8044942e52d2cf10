"""The page "Chamber", without a browser: blind first, and only a confirmed reading is a record."""

from __future__ import annotations

import io
import json
from decimal import Decimal

import pytest
from chamber_page import (
    ASKING,
    REFUSED,
    Page,
    Reader,
    install,
    photo_file,
    reading,
)
from PIL import Image

from app.exports.entry_words import remarks
from app.records import Store
from vision.errors import InputError
from vision.imaging.photo import load_photo
from vision.reading import Question
from vision.scale_file.scale import shipped_scales
from vision.volume.overlay import chamber_box

pytestmark = pytest.mark.slow

PHOTO, OTHER = photo_file(1), photo_file(2)


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    return lambda: Store.open(str(tmp_path / "ward"))


@pytest.fixture
def reader(monkeypatch, store):
    return install(monkeypatch, Reader(reading()))


def entries(store):
    return list(store().entries())


def confirmable(page: Page) -> Page:
    """Everything filled in, the tool's value taken over; only the button is left."""
    return page.to_the_reading(PHOTO).press("tools").answer().sign()


# --- before the person has spoken


def test_without_a_photo_nothing_is_asked_and_nothing_written(reader, store):
    page = Page()
    assert "Next: take or choose a photo" in page.text()
    assert not reader.asked
    assert entries(store) == []


@pytest.mark.parametrize("data", [
    b"", b"not a photo", b"<html><body>a.jpg</body></html>", PHOTO[:300],
    b"\xff\xd8\xff\xe0" + bytes(200)], ids=["empty", "text", "html", "cut", "zeros"])
def test_a_file_that_is_no_photo_is_answered_in_one_sentence(reader, data):
    page = Page().upload(data)
    text = page.text()
    assert page.state.photo is None
    assert page.state.photo_problem.endswith(".")
    assert page.state.photo_problem in text and "This photo cannot be used" in text
    assert "Traceback" not in text
    assert page.upload(PHOTO).state.photo is not None


def test_the_tools_reading_is_nowhere_before_the_person_has_read(reader):
    page = Page()
    for act in (lambda: page.upload(PHOTO), lambda: page.scale(), lambda: page.type("own", "31"),
                lambda: page.type("own", "")):
        act()
        assert not reader.asked
        assert page.state.reading is None
        for trace in ("31.7", "31.1", "32.3", "33.9", "Machine reading", "What the tool saw",
                      "turned away", "0.287"):
            assert trace not in page.text()


def test_an_empty_or_senseless_own_reading_does_not_open_the_tools(reader):
    page = Page().upload(PHOTO).scale().press("commit")
    assert not reader.asked and "Type your reading, or choose to go without." in page.text()
    page.type("own", "1e3").press("commit")
    assert not reader.asked and "Type one plain number" in page.text()
    page.type("own", "234").press("commit")
    assert not reader.asked and "at most 66 mL" in page.text()


def test_no_scale_is_chosen_beforehand(reader):
    page = Page().upload(PHOTO)
    assert page.at.radio[0].value is None
    assert not [b for b in page.at.button if b.key.startswith(("commit", "skip"))]


# --- both side by side


def test_after_ones_own_reading_both_stand_side_by_side(reader):
    text = Page().to_the_reading(PHOTO).text()
    for said in ("Your reading", "31.5", "Machine reading, not a record", "31.7",
                 "95 % interval: 31.1 to 32.3 mL", "\u22120.2", "0.2 divisions",
                 "The two readings agree.",
                 "An eye at the camera's height would take 33.9 mL", "12\u00b0 above",
                 "The scale is turned away from the phone",
                 "Photograph the marks from straight in front.", "edge fit", "0.287"):
        assert said in text
    assert len(reader.asked) == 1


def test_going_without_an_own_reading_is_an_explicit_act_and_goes_on_record(reader, store):
    page = Page().upload(PHOTO).scale().press("skip")
    assert "You chose to go without" in page.text()
    page.press("tools").answer().sign().press("confirm")
    (entry,) = entries(store)
    assert entry.first.value is None


def test_ones_own_reading_cannot_be_changed_after_the_tools(reader):
    page = Page().to_the_reading(PHOTO)
    assert not [t for t in page.at.text_input if t.key.startswith("own-")]


def test_the_reader_is_asked_once_however_often_the_page_runs(reader):
    page = Page().to_the_reading(PHOTO)
    for _ in range(3):
        page.run()
    assert len(reader.asked) == 1


def test_a_refusal_says_why_and_what_to_change(monkeypatch, store):
    install(monkeypatch, Reader(REFUSED))
    text = Page().to_the_reading(PHOTO).text()
    for said in ("no value", "The tool gives no reading of this photo",
                 "The surface is too soft to be found.", "The photo is blurred",
                 "Hold the phone still"):
        assert said in text


@pytest.mark.parametrize(("status", "said"), [
    ("below-scale", "below the lowest mark"), ("above-scale", "above the highest mark")])
def test_off_the_scale_has_its_own_sentence(monkeypatch, store, status, said):
    install(monkeypatch, Reader(reading(status=status, value=None, interval=None)))
    assert said in Page().to_the_reading(PHOTO).text()


def test_a_failure_inside_the_reader_is_one_sentence(monkeypatch, store):
    def fails(*_, **__):
        raise ZeroDivisionError("secret detail")

    install(monkeypatch, fails)
    page = Page().to_the_reading(PHOTO)
    assert "was not foreseen; nothing was recorded" in page.text()
    assert "secret detail" not in page.text() and "Zero" not in page.text()


# --- the record


def test_nothing_is_on_record_without_confirmation(reader, store):
    page = confirmable(Page())
    page.run()
    assert entries(store) == []
    assert "Not on record" in page.text()


def test_a_confirmed_reading_is_one_entry_with_both_readings(reader, store):
    page = confirmable(Page()).press("confirm")
    (entry,) = entries(store)
    assert entry.confirmed_value == Decimal("31.7") and entry.unit == "mL"
    assert entry.first.value == Decimal("31.5")
    assert entry.machine.status == "read" and entry.machine.value == Decimal("31.700")
    assert (entry.bed, entry.initials) == ("QUAY-3", "M.K.")
    assert entry.photo_sha256 == reader.asked[0][0]
    assert entry.attestations.all_true
    text = page.text()
    assert "On record" in text and "31.7 mL for bed QUAY-3, confirmed by M.K." in text
    assert "just now" in text and "Last confirmed readings of bed QUAY-3" in text


def test_the_photo_is_dropped_once_confirmed(reader, store, tmp_path):
    page = confirmable(Page()).press("confirm")
    assert page.state.photo is None and page.state.copies == {}
    assert not list((tmp_path / "ward").glob("**/*.jpg"))


def test_a_picture_is_kept_only_when_asked_for(reader, store):
    confirmable(Page()).press("confirm")
    page = Page().to_the_reading(OTHER).press("tools").answer().sign()
    page.at.checkbox(key=f"keep-{page.key}").check()
    page.run().press("confirm")
    without, with_picture = entries(store)
    assert store().picture(without) is None
    kept = Image.open(io.BytesIO(store().picture(with_picture)))
    assert kept.format == "JPEG" and not kept.getexif()
    left, top, right, bottom = chamber_box(load_photo(OTHER), reader.answers[0])
    assert kept.size == (right - left, bottom - top)
    assert "A small picture of the chamber was kept" in page.text()


@pytest.mark.parametrize(("leave_out", "said"), [
    ("value", "Take over or type the value"), ("statements", "Say of all four statements"),
    ("bed", "Type the bed code"), ("by", "Type your initials")])
def test_what_is_missing_is_named_and_nothing_is_recorded(reader, store, leave_out, said):
    page = Page().to_the_reading(PHOTO)
    if leave_out != "value":
        page.press("tools")
    if leave_out != "statements":
        page.answer()
    page.sign("" if leave_out == "by" else "M.K.", "" if leave_out == "bed" else "QUAY-3")
    page.press("confirm")
    assert said in page.text() and entries(store) == []


def test_what_is_typed_last_counts_even_when_the_button_is_pressed_at_once(reader, store):
    """On a phone the last field is sent together with the press of the button."""
    page = Page().upload(PHOTO).scale()
    page.at.text_input(key=f"own-{page.key}").input("31,5")
    page.press("commit")
    page.answer()
    for field, text in (("value", "31,6"), ("bed", "QUAY-3"), ("by", "M.K.")):
        page.field(field).input(text)
    page.press("confirm")
    assert entries(store)[0].confirmed_value == Decimal("31.6")


def test_a_press_that_overtakes_the_screen_confirms_what_was_stepped_to(reader, store):
    """The browser sends the field's old text along when it has not yet shown the new one."""
    page = Page().to_the_reading(PHOTO).press("tools").answer().sign()
    old_field = page.field("value")
    page.at.button(key=f"up-{page.key}").click()
    page.at.run()
    old_field.input("31.7")
    page.press("confirm")
    assert entries(store)[0].confirmed_value == Decimal("31.8")


def test_typing_after_stepping_and_stepping_after_typing_both_count(reader, store):
    page = Page().to_the_reading(PHOTO).press("tools").press("up").press("up")
    assert page.field("value").value == "31.9"
    page.type("value", "30,2").press("down")
    assert page.field("value").value == "30.1"
    page.at.text_input(key=f"value-{page.key}-{page.state.value.turn}").input("30.45")
    page.press("up")  # typed last, sent together with the press
    assert page.field("value").value == "30.55"
    page.press("mine").answer().sign().press("confirm")
    assert entries(store)[0].confirmed_value == Decimal("31.5")


def test_another_scale_empties_the_value_to_confirm(reader):
    page = Page().to_the_reading(PHOTO).press("tools").scale("slate-50")
    assert page.field("value").value == ""


def test_a_double_tap_is_one_entry(reader, store):
    page = confirmable(Page())
    button = page.at.button(key=f"confirm-{page.key}")
    button.click()
    page.at.run()
    button.click()  # the second tap of the same button, sent before the page had changed
    page.run()
    assert len(entries(store)) == 1


def test_the_same_photo_in_another_session_is_no_second_entry(reader, store):
    confirmable(Page()).press("confirm")
    again = confirmable(Page()).press("confirm")
    assert len(entries(store)) == 1
    assert "confirmed already as entry 1" in again.text()


def test_a_value_far_from_every_reading_is_asked_about_once(reader, store):
    page = Page().to_the_reading(PHOTO).type("value", "13,7").answer().sign().press("confirm")
    assert "more than one division from every reading" in page.text() and not entries(store)
    page.press("confirm")
    assert entries(store)[0].confirmed_value == Decimal("13.7")


def test_readings_that_are_a_third_of_a_division_apart_agree(reader, store):
    page = Page().to_the_reading(PHOTO, "31,4")
    assert "The two readings agree." in page.text() and "do not agree" not in page.text()


@pytest.mark.parametrize("take", ["mine", "tools"])
def test_readings_far_apart_need_a_second_look_whichever_is_confirmed(reader, store, take):
    page = Page().to_the_reading(PHOTO, "12,5")
    assert "Yours is lower by 19.2 divisions. Look at the chamber again" in page.text()
    page.press(take).answer().sign().press("confirm")
    assert "say what you found" in page.text() and entries(store) == []
    page.at.text_input(key=f"looked-{page.key}-0").input("misread by 20, it is 31.5")
    page.press("confirm")
    (entry,) = entries(store)
    assert entry.payload["second_look"] == "misread by 20, it is 31.5"
    assert "second look: misread by 20, it is 31.5" in remarks(store().current("QUAY-3")[0])


def test_on_the_scale_for_the_person_and_off_it_for_the_tool_is_no_agreement(monkeypatch, store):
    below = reading(status="below-scale", value=None, interval=None, naive_value=None, budget=(),
                    flags=("below-lowest-mark",))
    install(monkeypatch, Reader(below))
    page = Page().to_the_reading(PHOTO, "12,5")
    assert "the tool sees the liquid below the lowest mark" in page.text()
    page.press("mine").answer().sign().press("confirm")
    assert entries(store) == []
    page.at.text_input(key=f"looked-{page.key}-0").input("foam in the picture")
    page.press("confirm")
    assert entries(store)[0].payload["second_look"] == "foam in the picture"


def test_the_field_begins_with_the_value_taken_over(reader, store):
    """By its own beginning: what is set from outside can be lost when a run is cut short."""
    page = Page().to_the_reading(PHOTO).press("tools")
    assert page.field("value").proto.default == "31.7"


def test_a_step_is_a_tenth_of_a_division_and_ends_at_the_bounds_of_the_scale(reader, store):
    page = Page().to_the_reading(PHOTO).type("value", "66").press("up")  # 60 and a tenth of it
    assert page.field("value").value == "66"
    assert [b.label.strip("` ") for b in page.at.button if b.key.split("-")[0] in ("down", "up")] \
        == ["\N{MINUS SIGN} 0.1 mL", "+ 0.1 mL"]


def test_nothing_that_a_swipe_can_move_holds_a_value_for_the_record(reader, store):
    page = Page().to_the_reading(PHOTO).press("tools")
    assert not page.at.slider and not page.at.get("select_slider")


def test_a_no_among_the_statements_needs_a_note(reader, store):
    page = Page().to_the_reading(PHOTO).press("tools").sign()
    page.answer("hanging_plumb", "patient_undisturbed", "right_chamber_and_scale")
    page.press("confirm")
    assert "write in the note" in page.text() and not entries(store)
    page.type("note", "Outlet was open").press("confirm")
    (entry,) = entries(store)
    assert not entry.attestations.all_true and entry.note == "Outlet was open"


def test_the_wrong_chamber_never_goes_on_record(reader, store):
    page = Page().to_the_reading(PHOTO).press("tools").sign()
    page.answer("hanging_plumb", "patient_undisturbed", "outlet_closed").press("confirm")
    assert "wrong chamber or scale cannot go on record" in page.text() and not entries(store)


def test_a_refused_photo_leaves_the_persons_own_reading_to_confirm(monkeypatch, store):
    install(monkeypatch, Reader(REFUSED))
    Page().to_the_reading(PHOTO).press("mine").answer().sign().press("confirm")
    (entry,) = entries(store)
    assert entry.machine.status == "refused" and entry.machine.value is None
    assert entry.confirmed_value == Decimal("31.5")


def test_a_record_that_cannot_be_opened_is_said_and_nothing_is_lost(reader, store, tmp_path):
    (tmp_path / "ward").write_text("in the way")
    page = confirmable(Page()).press("confirm")
    assert page.state.missing and page.state.reading is not None
    assert "At the last press, not recorded:" in page.text()


# --- one photo at a time


def test_a_new_photo_clears_the_old_reading(reader, store):
    page = confirmable(Page()).press("discard")
    assert "31.7" not in page.text() and "31.5" not in page.text()
    page.upload(OTHER)
    assert page.state.reading is None and not page.state.committed
    assert "31.7" not in page.text()
    assert len(reader.asked) == 1


def test_a_reading_typed_after_an_earlier_photos_result_says_so(reader, store):
    page = confirmable(Page()).press("discard").to_the_reading(OTHER)
    assert "Typed after the tool's reading of an earlier photo" in page.text()
    page.press("tools").answer().sign().press("confirm")
    (entry,) = entries(store)
    assert "typed after the tool's reading of an earlier photo" in entry.note
    page.to_the_reading(PHOTO)
    assert "Typed before the tool's was shown" in page.text()


def test_the_time_on_record_is_when_the_photo_came_in(reader, store):
    page = confirmable(Page())
    came = page.state.taken_in
    assert f"Time on record: {came.local:%H:%M}" in page.text()
    page.press("confirm")
    assert entries(store)[0].happened == came


def test_the_scale_stays_chosen_for_the_next_photo(reader):
    page = confirmable(Page()).press("confirm").upload(OTHER)
    assert page.at.radio[0].value == "quay-60"


def test_another_scale_is_another_reading(reader):
    page = Page().to_the_reading(PHOTO).scale("slate-50")
    assert [asked[1] for asked in reader.asked] == ["quay-60", "slate-50"]
    assert "31.5" in page.text()


def test_the_wards_own_scale_file_is_used(reader):
    own = json.loads(shipped_scales()["quay-60"].read_text(encoding="utf-8"))
    page = Page().upload(PHOTO).scale("The ward's own scale file")
    page.at.file_uploader[0].upload("s.json", b"[]", "application/json")
    page.run()
    assert "This scale file cannot be used" in page.text()
    page.at.file_uploader[0].set_value(
        ("w.json", json.dumps({**own, "name": "ward-7"}).encode(), "application/json"))
    page.run().type("own", "31").press("commit")
    assert reader.asked[0][1] == "ward-7"


# --- the tool asks


def test_a_number_given_for_a_mark_goes_to_the_reader(monkeypatch, store):
    reader = install(monkeypatch, Reader(ASKING, reading(flags=("number-given",))))
    page = Page().to_the_reading(PHOTO)
    assert "Tap one mark and type its value." in page.text()
    key = f"{page.key}-0"
    page.at.button(key=f"again-{key}").click()
    page.run()
    assert len(reader.asked) == 1 and "Not read again yet" in page.text()
    for field, text in (("across", "50"), ("down", "0"), ("mark", "20")):
        page.at.text_input(key=f"{field}-{key}").input(text)
    page.at.button(key=f"again-{key}").click()  # typed and pressed at once, as on a phone
    page.run()
    value, (x, y) = reader.asked[1][3]
    left, top, right, _bottom = chamber_box(load_photo(PHOTO), ASKING)
    assert value == 20
    assert x == pytest.approx((left + right - 1) / 2) and y == pytest.approx(top)
    assert "The numbering rests on the value typed by the person" in page.text()


@pytest.mark.parametrize(("kind", "hint"), [("which-chamber", 0), ("which-surface", 1)])
def test_a_tap_on_the_chamber_is_no_tap_on_the_surface(monkeypatch, store, kind, hint):
    """Taken for the surface, a tap anywhere on the tube would choose among its edges."""
    asking = reading(status="refused", value=None, interval=None, naive_value=None, budget=(),
                     flags=("several-chambers",), reasons=("Which one?",),
                     question=Question(kind, "Tap it."))
    reader = install(monkeypatch, Reader(asking, reading()))
    page = Page().to_the_reading(PHOTO)
    key = f"{page.key}-0"
    for field in ("across", "down"):
        page.at.text_input(key=f"{field}-{key}").input("50")
    page.at.button(key=f"again-{key}").click()
    page.run()
    assert reader.hints[0] == (None, None)
    assert [point is not None for point in reader.hints[1]] == [hint == 0, hint == 1]


def test_an_answer_that_cannot_be_used_leaves_the_question_standing(monkeypatch, store):
    def refuses_number(photo, scale, *, near=None, surface=None, number=None):
        if number is not None:
            raise InputError("The scale has no such mark.")
        return ASKING

    install(monkeypatch, refuses_number)
    page = Page().to_the_reading(PHOTO)
    key = f"{page.key}-0"
    for field, text in (("across", "50"), ("down", "50"), ("mark", "7")):
        page.at.text_input(key=f"{field}-{key}").input(text)
    page.at.button(key=f"again-{key}").click()
    page.run()
    assert "The scale has no such mark." in page.text()
    assert page.state.reading is ASKING
    assert page.at.button(key=f"again-{page.key}-1")


def test_an_answer_does_not_outlive_its_photo(monkeypatch, store):
    reader = install(monkeypatch, Reader(ASKING, reading()))
    page = Page().to_the_reading(PHOTO)
    key = f"{page.key}-0"
    for field, text in (("across", "50"), ("down", "50"), ("mark", "20")):
        page.at.text_input(key=f"{field}-{key}").input(text)
    page.run().at.button(key=f"again-{key}").click()
    page.run().press("discard").to_the_reading(OTHER)
    assert reader.asked[2][2:] == (None, None)
