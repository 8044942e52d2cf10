"""What the two drains of one patient gave together."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

import pytest
from records_help import reading
from shift_page import ago, put

from app.exports.handover import handover_pdf
from app.joint import joint_shift
from app.records import BedCode, EventDraft, OrderDraft, Store
from app.records.shift import bed_account
from app.rounds import RoundBook
from app.ward import ward_lines
from vision.output import ShiftPlan, joint_total, shift_totals

#: A shift that has begun long before anything here, whatever the hour of the day.
PLAN = ShiftPlan(((datetime.now().astimezone() - timedelta(hours=12)).time().replace(
    minute=0, second=0, microsecond=0),))


@pytest.fixture
def store(tmp_path, monkeypatch):  # type: ignore[no-untyped-def]
    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "key"))
    return Store.open(str(tmp_path / "ward"))


def drain(store: Store, code: str, *values: str) -> None:
    put(store, OrderDraft(landmark="ear canal"), 200, bed=BedCode(code), clock_checked=True)
    for k, value in enumerate(values):
        store.add(reading(value, bed=BedCode(code), clock=lambda m=180 - 60 * k: ago(m),
                          clock_checked=True))


def joint(store: Store):  # type: ignore[no-untyped-def]
    return joint_shift([bed_account(store, b) for b in store.beds()], PLAN, now())


def now() -> datetime:
    return datetime.now().astimezone()


def test_the_sum_is_of_both_and_its_interval_is_the_widest_they_allow(store):
    drain(store, "QUAY-3 / L", "4", "10", "15")
    drain(store, "QUAY-3 / R", "2", "5", "9")
    found = joint(store)
    assert float(found.total.output_ml) == 11 + 7, "15 - 4 and 9 - 2, by hand"
    us = [shift_totals(bed_account(store, b).account, PLAN, now())[-1].u_ml for b in store.beds()]
    # One scale on both: JCGM 100:2008, 5.2.2, note 1, all correlation coefficients +1.
    assert found.total.u_ml == pytest.approx(sum(us))
    assert found.head == "Both drains together (L and R)"
    assert "The limits on order are each drain's own" in found.words(now())


def test_chambers_with_scales_of_their_own_are_independent(store):
    drain(store, "QUAY-3 / L", "4", "10")
    total = shift_totals(bed_account(store, "QUAY-3 / L").account, PLAN, now())[-1]
    # JCGM 100:2008, 5.1.2, equation (10) with both derivatives 1
    assert joint_total([total, total], shared=False).u_ml == pytest.approx(
        math.sqrt(2) * total.u_ml)


def test_what_is_known_of_one_drain_only_is_said(store):
    drain(store, "QUAY-3 / L", "4", "10", "15")
    drain(store, "QUAY-3 / R", "2")
    found = joint(store)
    assert float(found.total.output_ml) == 11 and not found.total.complete
    assert "L for 2.0 h, R for 0.0 h" in found.words(now())


def test_one_drain_and_one_that_was_taken_out_have_no_sum(store):
    drain(store, "QUAY-3 / L", "4", "10", "15")
    assert joint(store) is None
    drain(store, "QUAY-3 / R", "2", "5")
    assert joint(store) is not None
    put(store, EventDraft("drainage-ended"), 1, bed=BedCode("QUAY-3 / R"))
    assert joint(store) is None


def test_ward_and_sheet_say_it_of_both_drains_and_of_no_other_bed(store, tmp_path):
    drain(store, "QUAY-3 / L", "4", "10", "15")
    drain(store, "QUAY-3 / R", "2", "5", "9")
    drain(store, "FIR-2", "2", "5", "9")
    lines = ward_lines(store, RoundBook(tmp_path / "rounds"), now(), PLAN)
    said = {line.bed: line.joint_words for line in lines}
    assert said["FIR-2"] is None and said["QUAY-3 / L"] == said["QUAY-3 / R"]
    assert "18.0 mL (" in said["QUAY-3 / L"][1]
    bed = bed_account(store, "QUAY-3 / L")
    sheets = [handover_pdf(bed, store.verify(), now=now(), plan=PLAN, joint=j)
              for j in (None, joint_shift([bed, bed_account(store, "QUAY-3 / R")], PLAN, now()))]
    from io import BytesIO

    from pypdf import PdfReader

    texts = [" ".join(PdfReader(BytesIO(s)).pages[0].extract_text().split()) for s in sheets]
    assert "Both drains together (L and R): at least 18.0 mL (" in texts[1]
    assert "together" not in texts[0]
