"""One bed has one spelling; what was confirmed under another stays as it is and is found."""

from __future__ import annotations

import unicodedata
from dataclasses import replace

import pytest
from fhir_account import read_accounts
from hypothesis import given
from hypothesis import strategies as st
from records_help import BY, clock, happening, reading

from app.exports.fhir import write_bundle
from app.records import BedCode, ConfirmError, Store, confirm
from app.records.codes import normal_bed, similar_beds
from app.records.confirmed import seal
from app.records.shift import bed_account
from app.records.standing_query import spellings

WARD_7 = BedCode("WARD-7")


@pytest.mark.parametrize("typed", [
    "ward-7", "WARD-7", " Ward-7 ", "\uff37\uff21\uff32\uff24\uff0d\uff17", "ward\u20117",
    "ward\u20137", "ward\u22127", "WARD-\u2466"])
def test_one_bed_however_it_was_typed(typed):
    """Full-width letters, non-breaking and long dashes, a circled digit: Unicode Standard
    Annex 15, compatibility decomposition."""
    assert BedCode(typed) == WARD_7 == normal_bed(typed)


@pytest.mark.parametrize("typed", ["", " ", "-7", "a" * 25, "ward_7", "<b>", "WARD\x007"])
def test_what_is_no_code_is_refused(typed):
    with pytest.raises(ConfirmError):
        BedCode(typed)


@pytest.mark.slow
@given(st.text(max_size=30))
def test_the_one_form_is_stable(text):
    assert normal_bed(normal_bed(text)) == normal_bed(text)
    assert normal_bed(text.upper()) == normal_bed(normal_bed(text).lower()) or not text.isascii()


@pytest.mark.slow
def test_the_one_form_of_every_character_is_stable():
    for n in (*range(0xD800), *range(0xE000, 0x20000)):
        assert normal_bed(normal_bed(f"A{chr(n)}7")) == normal_bed(f"A{chr(n)}7"), hex(n)


@pytest.mark.parametrize("typed", [
    "WARD7", "WARD 7", "WARD/7", "WARD-8", "WARD-71", "WARD-", "WRAD-7", "WADR-7", "VARD-7",
    "W\u0410RD-7"])
def test_a_code_like_a_known_one_is_asked_about(typed):
    assert similar_beds(typed, ["QUAY-3", "WARD-7"]) == ("WARD-7",)


@pytest.mark.parametrize(("typed", "known"), [
    ("B0-1O", "BO-10"), ("1-5", "I-S"), ("l5", "IS"), ("5TEG", "STE6"), ("Z8", "2B"),
    ("S 1", "51"),
    # All of it typed on a Cyrillic or a Greek keyboard; digits of another script.
    ("\u041e\u0420\u0410-7", "OPA-7"), ("\u039f\u03a1\u0391-7", "OPA-7"),
    ("\u0412\u0415\u0422 \u0417", "BET-3"), ("WARD-\u0667\u0662", "WARD-72"),
    ("WARD-72", "WARD-\u0667\u0662")])
def test_letters_that_look_like_digits(typed, known):
    assert similar_beds(typed, [known]) == (normal_bed(known),)


@pytest.mark.parametrize("typed", ["WARD-7", "ward-7", "WARD-93", "QUAY-11", "PIER-7", ""])
def test_the_known_bed_itself_and_other_beds_are_not(typed):
    assert similar_beds(typed, ["WARD-7", "QUAY-3"]) == ()


def test_two_short_codes_are_two_beds():
    assert similar_beds("B2", ["B1"]) == () and similar_beds("7", ["8"]) == ()


@pytest.mark.slow
@given(st.text("AB-1", min_size=3, max_size=6), st.text("AB-1", min_size=3, max_size=6))
def test_one_slip_is_one_slip(a, b):
    """Against every code that one insertion, deletion, exchange or swap can make."""
    made = {a[:k] + c + a[k + d:] for k in range(len(a) + 1) for d in (0, 1)
            for c in ("", "A", "B", "-", "1")}
    made |= {a[:k] + a[k + 1] + a[k] + a[k + 2:] for k in range(len(a) - 1)}

    def bones(code: str) -> str:
        return code.replace("-", "").replace("B", "8")

    near = a != b and (b in made or bones(a) == bones(b))
    assert (similar_beds(b, [a]) == (a,)) == near


# --- entries made before the rule


def spelled(made, bed: str):
    """A confirmed entry as an earlier version made it."""
    return seal(replace(made.content, bed=bed))


@pytest.fixture
def store(tmp_path):
    store = Store.open(tmp_path)
    wide = unicodedata.normalize("NFKC", "WARD-7").translate(
        {c: c + 0xFEE0 for c in range(0x21, 0x7F)})
    store.add(spelled(reading("10", 0), "ward-7"))
    store.add(spelled(reading("16", 60), wide))
    store.add(reading("25", 120, bed=WARD_7))
    store.add(happening("bag-changed", 130, bed=BedCode("QUAY-3")))
    return store


def test_three_spellings_on_record_are_one_bed_with_one_account(store):
    assert store.beds() == ("QUAY-3", "WARD-7")
    for asked in ("WARD-7", "ward-7"):
        assert [e.number for e in store.entries(bed=asked)] == [1, 2, 3]
        assert len(store.current(asked)) == 3
        assert store.last(asked, "volume-reading").entry.number == 3
        assert bed_account(store, asked).account.total_ml == 15
    assert read_accounts(write_bundle(store.current("WARD-7")))["WARD-7"].total_ml == 15


def test_what_was_confirmed_is_not_rewritten(store):
    assert [e.bed for e in store.entries()][:3] == [
        "ward-7", "\uff37\uff21\uff32\uff24\uff0d\uff17", "WARD-7"]
    assert store.verify().ok


def test_an_old_entry_can_be_corrected_and_taken_back_under_the_one_form(store):
    first, second = store.entries(bed="WARD-7")[:2]
    store.add(confirm(first.correction("misread", confirmed_value="11"), by=BY, bed=WARD_7,
                      clock=clock(140)))
    store.add(confirm(second.withdrawal("never happened"), by=BY, bed=WARD_7, clock=clock(141)))
    assert bed_account(store, "WARD-7").account.total_ml == 14
    assert store.verify().ok
    with pytest.raises(ConfirmError, match="belongs to bed ward-7"):
        confirm(first.correction("x", confirmed_value="12"), by=BY, bed=BedCode("QUAY-3"))


def test_every_spelling_is_found_by_hops_along_the_index(store):
    with store._engine.connect() as connection:
        plan = " ".join(str(r) for r in connection.exec_driver_sql(
            "EXPLAIN QUERY PLAN SELECT min(e.bed) FROM entry e WHERE e.bed > 'A'"))
        assert "COVERING INDEX entry_bed_happened" in plan
        assert set(spellings(connection)) == {e.bed for e in store.entries()}
