"""The page "Threshold", without a browser: units are asked, one thing alone goes on record."""

from __future__ import annotations

import html
import io
from decimal import Decimal

import pytest
from panel_pictures import PanelShot, take
from PIL import Image
from streamlit.testing.v1 import AppTest

from app.records import (
    BedCode,
    EventDraft,
    Initials,
    LevelDraft,
    OrderDraft,
    Store,
    confirm,
)
from app.ui import kept
from vision.scale_file.scale import load_scale

SCRIPT = "from app.pages.threshold import page\npage()\n"


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    return lambda: Store.open(str(tmp_path / "ward"))


class Page:
    """The page as a person meets it."""

    def __init__(self, asked: str = ""):
        """``asked`` is the bed that stands in the address."""
        self.at = AppTest.from_string(SCRIPT, default_timeout=30)
        if asked:
            self.at.query_params["bed"] = asked
        self.at.run()

    def text(self) -> str:
        parts = []
        for node in self.at.main:
            parts += self._texts(node)
        return html.unescape("\n".join(parts))

    def _texts(self, node):
        children = getattr(node, "children", None)
        if children:
            return [t for child in children.values() for t in self._texts(child)]
        return [str(getattr(node, "proto", "")), str(getattr(node, "value", ""))]

    def type(self, key: str, text: str) -> Page:
        self.at.text_input(key=key).set_value(text).run()
        return self

    def choose(self, key: str, option: str) -> Page:
        self.at.button_group(key=key).set_value(option).run()
        return self

    def press(self, start: str) -> Page:
        next(b for b in self.at.button if b.key and b.key.startswith(start)).click().run()
        return self

    def order(self, value: str = "10", unit: str = "cmH2O") -> Page:
        return self.type("th-ordered", value).choose("th-ordered-unit", unit)

    def panel(self, value: str = "10", unit: str = "cmH2O") -> Page:
        return self.type("th-setting", value).choose("th-setting-unit", unit)

    def level(self, way: str = "hangs too low", size: str = "3") -> Page:
        self.choose("th-way", way)
        return self if way == "level" else self.type("th-size", size)

    def tick(self) -> Page:
        next(c for c in self.at.checkbox if "unit-right" in c.key).check().run()
        return self

    def sign(self, by: str = "M.K.") -> Page:
        next(t for t in self.at.text_input if t.key.startswith("by-set-")).set_value(by).run()
        return self.press("confirm-set-")


def on_record(store, draft, value=None, bed="QUAY-3"):
    store().add(confirm(draft, by=Initials("R.T."), bed=BedCode(bed), confirmed_value=value))


@pytest.mark.slow
def test_page_leads_from_order_to_threshold(store):
    page = Page()
    assert "Next: the ordered threshold and its unit" in page.text()
    assert "Next: what the panel is set to" in page.order().text()
    assert "Next: how the zero reference hangs" in page.panel().text()
    text = page.level().text()
    assert not page.at.exception
    assert "hangs 3.0 cm too low: it drains more than ordered" in text
    assert "The drain opens at" in text and "= 5.2 mmHg, at the landmark" in text
    assert "Side view to scale" in text


@pytest.mark.slow
def test_no_unit_is_chosen_beforehand(store):
    page = Page().type("th-ordered", "10").type("th-setting", "10").level()
    text = page.text()
    assert "the unit is never guessed" in text
    assert "The drain opens at" not in text


@pytest.mark.slow
def test_a_mixed_up_unit_is_asked_about(store):
    assert "Is the unit right?" in Page().order("10", "mmHg").panel("10", "cmH2O").text()
    assert "Is the unit right?" not in Page().order("10", "mmHg").panel("13,6", "cmH2O").text()
    assert "Is the unit right?" in Page().order("136", "cmH2O").text()


@pytest.mark.slow
def test_nothing_is_recorded_while_the_question_about_the_unit_is_open(store):
    on_record(store, OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]"))
    page = Page().type("th-bed", "QUAY-3").panel("10", "cmH2O")
    assert "Is the unit right?" in page.text(), "asked of the order on record, none was typed"
    page.order("10", "mmHg").sign()
    assert not store().current("QUAY-3", kind="setting-check")
    assert "Answer the question about the unit first" in page.text()
    assert [t.value for t in page.at.text_input if t.key.startswith("by-set-")] == ["M.K."]
    page.tick().panel("11").press("confirm-set-")
    assert not store().current("QUAY-3", kind="setting-check"), "ticked for another number"
    page.panel("10").tick().sign()
    (entry,) = [s.entry for s in store().current("QUAY-3", kind="setting-check")]
    assert (entry.confirmed_value, entry.unit) == (Decimal(10), "cm[H2O]")


@pytest.mark.slow
def test_a_bed_typed_only_at_the_end_is_asked_about_its_order_too(store):
    on_record(store, OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]"))
    page = Page().panel("10", "cmH2O").type("bed-set-0-10-cm[H2O]", "QUAY-3").sign()
    assert not page.at.exception
    assert not store().current("QUAY-3", kind="setting-check")
    assert "Answer the question about the unit first" in page.text()
    page.tick().press("confirm-set-")
    assert len(store().current("QUAY-3", kind="setting-check")) == 1, "the initials were kept"


@pytest.mark.slow
def test_where_panel_and_order_agree_nothing_is_asked(store):
    page = Page().type("th-bed", "QUAY-3").order("10", "mmHg").panel("13,6", "cmH2O")
    assert not [c for c in page.at.checkbox if "unit-right" in c.key]
    page.sign()
    assert len(list(store().entries())) == 1


@pytest.mark.slow
def test_the_order_on_record_is_compared(store):
    on_record(store, OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]"))
    text = Page().type("th-bed", "QUAY-3").order("10", "cmH2O").text()
    assert "Order on record: 10 mmHg" in text and "Is the unit right?" in text


@pytest.mark.slow
def test_the_last_level_check_can_be_taken_with_its_interval(store):
    seen = {"kind": "level", "status": "read", "offset_cm": -3.4, "interval_cm": [-4.1, -2.3],
            "flags": []}
    on_record(store, LevelDraft.of(seen), "-3.4")
    page = Page().panel().type("th-bed", "QUAY-3")
    assert "Last level check: 3.4 cm too low, just now." in page.text()
    text = page.press("th-take").text()
    # By hand: 10 - 3.4 = 6.6; the interval's halves are 0.7 and 1.1 cm.
    assert "6.6" in text and "95 % interval 5.9 cmH2O (4.3 mmHg) to 7.7 cmH2O" in text
    assert "95 % interval" not in page.type("th-size", "3.5").text(), \
        "another offset is not as sure as the one that was measured"


@pytest.mark.slow
def test_a_level_check_before_a_move_no_longer_counts(store):
    seen = {"kind": "level", "status": "read", "offset_cm": -3.4, "interval_cm": None, "flags": []}
    on_record(store, LevelDraft.of(seen), "-3.4")
    on_record(store, EventDraft("position-changed"))
    page = Page().type("th-bed", "QUAY-3")
    assert "it no longer counts" in page.text()
    assert not [b for b in page.at.button if b.key == "th-take"]


@pytest.mark.slow
def test_below_zero_works_without_a_minus_key(store):
    page = Page().panel("5").level("level")
    page.at.checkbox(key="th-setting-minus").check().run()
    assert "set to \N{MINUS SIGN}5.0 cmH2O" in page.text()
    page.type("th-bed", "QUAY-3").sign()
    assert store().current("QUAY-3")[0].entry.confirmed_value == Decimal("-5")


@pytest.mark.slow
def test_only_the_setting_a_person_saw_goes_on_record(store):
    page = Page().type("th-bed", "QUAY-3").order().panel("10,5").level()
    assert list(store().entries()) == []
    page.sign()
    (entry,) = store().entries()
    assert entry.kind == "setting-check" and entry.unit == "cm[H2O]"
    assert entry.confirmed_value == Decimal("10.5")
    assert entry.machine is None, "the threshold is a sum and no measurement"
    assert "On record" in page.text()


@pytest.mark.slow
def test_nothing_is_recorded_without_initials_and_a_second_tap_adds_nothing(store):
    page = Page().type("th-bed", "QUAY-3").panel()
    page.press("confirm-set-")
    assert list(store().entries()) == [] and "Type your initials" in page.text()
    page.sign()
    page.press("confirm-set-")
    assert len(list(store().entries())) == 1


@pytest.mark.slow
def test_what_was_typed_outlives_a_reload_for_the_bed_of_the_address(store, monkeypatch):
    monkeypatch.setattr(kept, "_things", {})
    monkeypatch.setattr(kept, "_browser", lambda: "one")
    page = Page().type("th-bed", "quay-3").order().panel("11").level()
    assert page.at.query_params["bed"] == "QUAY-3"
    form = page.at.session_state["threshold_state"].form_key
    again = Page("QUAY-3")
    assert not again.at.exception and "hangs 3.0 cm too low" in again.text()
    again.sign()
    assert store().last("QUAY-3", "setting-check").entry.key == f"page-{form}"
    other = Page("PIER-9")
    assert other.at.text_input(key="th-bed").value == "PIER-9"
    assert other.at.text_input(key="th-setting").value == "", "typed for another bed"


@pytest.mark.slow
def test_another_number_is_not_told_what_was_missing_for_the_one_before(store):
    page = Page().type("th-bed", "QUAY-3").panel().press("confirm-set-")
    assert "At the last press, not recorded:" in page.text()
    page.type("th-setting", "11")
    assert "At the last press, not recorded:" not in page.text() and not store().current("QUAY-3")


def test_what_if_is_never_on_record(store):
    page = Page().panel().level("level")
    page.at.slider(key="wi-then").set_value(60).run()
    text = page.text()
    assert not page.at.exception
    # By hand: 60 (sin 60 - sin 30) + 10 (cos 60 - cos 30) = 18.3 cm.
    assert "The landmark rises by 18.3 cm" in text and "What if" in text
    assert list(store().entries()) == []


@pytest.mark.slow
@pytest.mark.parametrize("value", ["ten", "1,234.5", "9999", "1e5"])
def test_what_is_no_number_is_answered_and_nothing_computed(store, value):
    page = Page().panel(value).level()
    assert not page.at.exception
    assert "The drain opens at" not in page.text()
    assert 'role="alert"' in "".join(h.proto.body for h in page.at.get("html"))


# ------------------------------------------------------------ a photo of the panel


def with_photo(page: Page, typed: str = "11.3") -> Page:
    """A photo of a panel set to 11.3 cmH2O, compared with what was typed first."""
    photo, (x, y) = take(PanelShot(load_scale("gannet-cm"), 11.3, load_scale("gannet-mm"),
                                   size=(900, 1200), noise=2.0, blur_px=0.7))
    out = io.BytesIO()
    Image.fromarray(photo.rgb).save(out, "PNG")
    page.type("th-bed", "QUAY-3").panel(typed)
    page.at.file_uploader[0].upload("panel.png", out.getvalue(), "image/png")
    page.at.run()
    page.at.radio[0].set_value("gannet-cm").run()
    key = page.at.session_state["threshold_panel"].key
    page.type(f"across-{key}", f"{100 * x / 899:.3f}")
    return page.type(f"down-{key}", f"{100 * y / 1199:.3f}")


def test_the_tool_is_asked_only_after_the_person_has_typed(store):
    page = Page()
    assert "Type what you see on the panel first" in page.text()
    assert not page.at.file_uploader


@pytest.mark.slow
def test_photo_reading_stands_beside_the_persons_own_and_goes_on_record_as_the_machines(store):
    page = with_photo(Page())
    text = page.text()
    assert not page.at.exception
    assert "Machine reading, not a record" in text and "do not agree" not in text
    page.sign()
    (entry,) = store().entries()
    assert entry.confirmed_value == Decimal("11.3") and entry.first.value == Decimal("11.3")
    assert float(entry.machine.value) == pytest.approx(11.3, abs=0.1)
    assert entry.scale == "gannet-cm" and entry.photo_sha256


@pytest.mark.slow
def test_two_readings_that_differ_are_said_to(store):
    page = with_photo(Page(), typed="13")
    assert "do not agree" in page.text()
    # What was typed first stays the person's first reading, whatever is typed afterwards.
    page.type("th-setting", "11,3").sign()
    (entry,) = store().entries()
    assert entry.first.value == Decimal(13) and entry.confirmed_value == Decimal("11.3")


@pytest.mark.slow
def test_a_file_that_is_no_photo_gets_one_sentence(store):
    page = Page().panel()
    page.at.file_uploader[0].upload("x.jpg", b"no photo", "image/jpeg")
    page.at.run()
    assert not page.at.exception and "This photo cannot be used" in page.text()
