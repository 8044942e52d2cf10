"""The hand-over sheet of one bed: a plain PDF for print, from confirmed entries only."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from app.exports.account_text import (
    amount,
    doubts,
    rate,
    result_line,
    setting_line,
    span,
    window,
)
from app.exports.drawing_pdf import pdf_drawing
from app.exports.entry_words import (
    clamp_text,
    machine_text,
    order_text,
    own_text,
    remarks,
    told_text,
    what,
    when,
)
from app.exports.output_plot import LETTERS, output_plot
from app.exports.sheet_text import BOLD, REGULAR, printable, use_fonts
from app.joint import Joint
from app.records.chain import Verification
from app.records.codes import bed_words
from app.records.content import Entry
from app.records.kinds import ABOUT, WORDS
from app.records.moment import Moment
from app.records.shift import (
    BedAccount,
    LevelState,
    clamped,
    ended,
    last_look,
    level_state,
    told,
)
from app.records.standing import Standing
from app.rounds import next_due
from app.setting_state import setting_state
from vision.drawing.bedside import Bedside, bedside_drawing, hanging_words
from vision.hydrostatics.units import exact_text
from vision.output import (
    ShiftPlan,
    content_now,
    cumulative,
    is_open,
    rolling,
    shift_totals,
)
from vision.output.model import hm

#: Common practice, no source, unless said otherwise.
CAUTIONS = (
    "A second reading, not a medical device. The written order and the people who may act on it "
    "decide.",
    "Look at the drain itself before you take it over: level, stopcocks, outlet, chamber, bag.",
    "After any change of position the level must be checked again.",
    "Drain or monitor, not both at once.",
)
#: Printed characters in one cell, so that one text does not fill the sheet (our choice).
_CELL = 1000
_RULE = 0.4  # points: hairlines only, the sheet must survive a bad copier


def handover_pdf(bed: BedAccount, verification: Verification, *, now: datetime,
                 plan: ShiftPlan | None = None, printed_by: str = "",
                 withdrawn: Sequence[Standing] = (), joint: Joint | None = None) -> bytes:
    """The sheet as PDF bytes: what is handed over on the first page, the entries behind it on
    the next ones.

    ``withdrawn`` are things taken back; they are listed and count nowhere; ``joint`` is what all
    drains of the patient gave together, where there are several.  ``now`` is an aware
    datetime.
    """
    from reportlab.lib.pagesizes import A4
    from reportlab.lib.units import mm
    from reportlab.platypus import KeepInFrame, PageBreak, SimpleDocTemplate

    use_fonts()
    plan = plan or ShiftPlan()
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=A4, leftMargin=16 * mm, rightMargin=16 * mm, topMargin=15 * mm,
        bottomMargin=18 * mm, title=f"Hand-over, bed {bed.bed}", author="Countersight",
        subject="Confirmed entries only", invariant=1)
    first = [*_head(bed, verification, now, printed_by), *_now(bed, now, plan),
             *_shift_plot(bed, now, plan), *_joint_line(joint, now), *_signatures()]
    story: list[Any] = [
        # Whatever there is to say, what is handed over stands on one page.
        KeepInFrame(document.width, document.height - 4 * mm, first, mode="shrink"), PageBreak(),
        _p(f"Bed {bed_words(bed.bed)}: the entries behind the first page", "title"),
        *_outputs(bed, now, plan), *_readings(bed), *_others(bed), *_changes(bed, withdrawn)]
    foot = f"Bed {bed.bed}, printed {now:%Y-%m-%d %H:%M}. {verification.sentence}"
    document.build(story, onFirstPage=_footer(foot), onLaterPages=_footer(foot))
    return out.getvalue()


def _joint_line(joint: Joint | None, now: datetime) -> list[Any]:
    return [] if joint is None else [_p(f"{joint.head}: {joint.words(now)}")]


def _styles() -> dict[str, Any]:
    from reportlab.lib.styles import ParagraphStyle

    body = ParagraphStyle("body", fontName=REGULAR, fontSize=8.5, leading=11.5)
    return {
        "body": body,
        "small": ParagraphStyle("small", parent=body, fontSize=7.5, leading=10),
        "title": ParagraphStyle("title", parent=body, fontName=BOLD, fontSize=15, leading=19,
                                spaceAfter=2),
        "head": ParagraphStyle("head", parent=body, fontName=BOLD, fontSize=10, leading=13,
                               spaceBefore=9, spaceAfter=3, keepWithNext=1),
        "warn": ParagraphStyle("warn", parent=body, fontName=BOLD),
    }


def _p(text: str, style: str = "body", longest: int | None = None) -> Any:
    from reportlab.platypus import Paragraph

    return Paragraph(printable(text, longest), _styles()[style])


def _table(header: Sequence[str], rows: Sequence[Sequence[str]], widths_mm: Sequence[float]) -> Any:
    from reportlab.lib import colors
    from reportlab.lib.units import mm
    from reportlab.platypus import Table

    cells = [[_p(h, "small") for h in header],
             *([_p(c, "small", _CELL) for c in row] for row in rows)]
    # A row of wide letters may be taller than a page: it goes over to the next one.
    return Table(cells, colWidths=[w * mm for w in widths_mm], repeatRows=1, splitInRow=1,
                 hAlign="LEFT", style=[
        ("LINEBELOW", (0, 0), (-1, 0), 2 * _RULE, colors.black),
        ("LINEBELOW", (0, 1), (-1, -1), _RULE, colors.grey),
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 1),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4), ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5)])


def _head(bed: BedAccount, verification: Verification, now: datetime, printed_by: str
          ) -> list[Any]:
    by = f" for {printed_by}" if printed_by else ""
    lines = [_p(f"Hand-over, bed {bed_words(bed.bed)}", "title"),
             _p(f"Printed {now:%Y-%m-%d %H:%M} ({now:%z}){by}; confirmed entries only."),
             _p(("Record checked: " if verification.ok else "RECORD NOT WHOLE: ")
                + verification.sentence, "body" if verification.ok else "warn")]
    return [*lines, *(_p(f"- {c}", "small") for c in CAUTIONS)]


def _now(bed: BedAccount, now: datetime, plan: ShiftPlan) -> list[Any]:
    level = level_state(bed.standings, now, due_minutes=bed.limits.level_due_minutes,
                        order=bed.order)
    story = [_p(line) for line in _state_lines(bed, now)]
    story.append(_p(_level_line(level), "warn" if level.hangs else "body"))
    setting = setting_state(bed, now)
    story.append(_p(setting_line(setting), "warn" if setting.doubt == "off" else "body"))
    story.append(_p("Order on record: " + (order_text(bed.order) if bed.order else "none.")))
    story += _limit_lines(bed, now, plan)
    for q in bed.account.questions:
        story.append(_p(f"To be answered: {q.sentence}", "warn"))
    head = _p("As it stands", "head")
    if level.last is None or level.last.confirmed_value is None:
        return [head, *story]
    drawn = _level_drawing(level.last, now, float(level.last.confirmed_value), level.stale)
    return [head, _beside(story[:_BESIDE], drawn), *story[_BESIDE:]]


def _state_lines(bed: BedAccount, now: datetime) -> list[str]:
    """Chamber, drain, fluid, next reading: each with when it was known."""
    known, seen, clamp = content_now(bed.account), last_look(bed.standings), clamped(bed.standings)
    lines = ["In the chamber: not known; look at it." if known is None else
             f"In the chamber: {known[1]} mL, known at {hm(known[0], now)}."]
    state = {True: "open", False: "closed", None: "open or closed is not on record"}
    lines.append(f"Drain: {state[is_open(bed.account.events, now)]}, as confirmed."
                 + (f" {clamp_text(clamp, now)}" if clamp is not None else ""))
    if seen is None:
        lines.append("Look of the fluid: not on record.")
    else:
        looks = [str(s.entry.payload["look"]) for s in bed.standings
                 if s.entry.event == "fluid-seen"]
        before = f"; before that {looks[-2]}" if len(looks) > 1 and looks[-2] != looks[-1] else ""
        lines.append(f"Look of the fluid: {looks[-1]}, seen at {hm(seen.happened.local, now)} "
                     f"by {seen.initials}{before}.")
    over = ended(bed)
    if over is not None:
        lines.append("Next reading: none; the drainage ended at "
                     f"{hm(over.happened.local, now)}, entered by {over.initials}.")
    elif bed.account.readings:
        due, why = next_due(Moment.of(bed.account.readings[-1].at),
                            bed.limits.reading_due_minutes, bed.due_from)
        late = " That time has passed." if due.utc <= now else ""
        lines.append(f"Next reading: due at {hm(due.local, now)} ({why}).{late}")
    else:
        lines.append("Next reading: none is on record yet.")
    return lines


def _level_line(level: LevelState) -> str:
    last = level.last
    if last is not None and level.hangs:
        return f"Level: NOT LEVEL. {level.sentence} Confirmed by {last.by}."
    if last is None or last.confirmed_value is None:
        how = "" if last is None else f" By the usual method, {last.by}."
    else:
        how = (f" It {hanging_words(float(last.confirmed_value))}, as confirmed by "
               f"{last.by}.")
    return f"Level: {'STALE. ' if level.stale else ''}{level.sentence}{how}"


def _limit_lines(bed: BedAccount, now: datetime, plan: ShiftPlan) -> list[Any]:
    """What the order's limits say, and who was told what."""
    lines = []
    for f in bed.findings(now, plan):
        answer = told(f, bed.standings) if f.verdict == "over" else None
        if answer is None:
            lines.append(_p(f.sentence, "warn" if f.verdict == "over" else "body"))
        else:
            lines.append(_p(f"{f.sentence.split(' Tell whom')[0]} {told_text(answer, now)}."))
    others = [s.entry for s in bed.standings if s.entry.event == "person-told"
              and s.entry.payload.get("about") in ("look", "other")]
    return [*lines, *(_p(f"{told_text(e, now)} ({ABOUT[e.payload['about']]}).") for e in others)]


def _shift_plot(bed: BedAccount, now: datetime, plan: ShiftPlan) -> list[Any]:
    """The output of this shift, or since the first reading where that is later, drawn."""
    totals = [w for w in shift_totals(bed.account, plan, now) if w.covered_hours > 0]
    if not totals:
        return [_p("Output of the shift: there are not yet two confirmed readings.")]
    # A shift that has only begun shows the one before, too: that is what is handed over.
    start = totals[-2 if len(totals) > 1 and now - totals[-1].start < _YOUNG else -1].start
    intervals = [i for i in bed.account.intervals if i.end > start]
    begin = max(start, min(i.start for i in intervals)) if intervals else start
    drawn = output_plot(bed, begin, now)
    story = [_p(f"Output since {hm(begin, now)}", "head")]
    story += [] if drawn is None else [pdf_drawing(drawn, 140 * _MM)]
    named = [f"{letter} {WORDS[name]}" for name, letter in LETTERS.items() if any(
        e.name == name and e.at >= begin and not e.seen for e in bed.account.events)]
    story.append(_p(", ".join(named), "small"))
    return [*story, *(_p(f"Shift {span(w.start, w.end)}: {window(w)}.") for w in totals[-2:])]


#: So young a shift is shown with the one before (our choice).
_YOUNG = timedelta(hours=2)
_MM = 72 / 25.4  # points


#: So many sentences stand beside the drawing: a row of a table cannot go over to the next page.
_BESIDE = 9


def _beside(said: list[Any], drawn: Any) -> Any:
    from reportlab.lib.units import mm
    from reportlab.platypus import Table

    return Table([[said, drawn]], colWidths=[120 * mm, 58 * mm], hAlign="LEFT", style=[
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 0)])


def _level_drawing(check: Entry, now: datetime, offset_cm: float, stale: bool) -> Any:
    """How the system hung at the last level check; heights to scale."""
    from reportlab.lib.units import mm

    state = f"At {hm(check.happened.local, now)}: {hanging_words(offset_cm)}"
    return pdf_drawing(bedside_drawing(Bedside(
        offset_cm, state, f"{state}. Heights to scale; bed and patient are only drawn.",
        (*["check the level again"] * stale, "as confirmed; bed and patient only drawn"))), 54 * mm)


def _outputs(bed: BedAccount, now: datetime, plan: ShiftPlan) -> list[Any]:
    account = bed.account
    story = [_p("Output", "head")]
    if not account.intervals:
        return [*story, _p("There are not yet two confirmed readings.")]
    rows = [[span(i.start, i.end), amount(i), rate(i), f"{i.open_hours:.1f} of {i.hours:.1f}",
             f"{total}", ", ".join([*(e.said or WORDS[e.act] for e in i.events), *doubts(i)])]
            for i, (_, total, _) in zip(account.intervals, cumulative(account), strict=True)]
    story.append(_p(result_line(account, now)))
    story.append(_table(("Interval", "mL (95 % interval)", "mL/h", "h open", "Sum mL", "Meanwhile"),
                        rows, (44, 38, 14, 20, 16, 46)))
    six = rolling(account)[-1]
    story.append(_p(f"Six hours to {six.end:%Y-%m-%d %H:%M}: {window(six)}."))
    story += [_p(f"Shift {span(w.start, w.end)}: {window(w)}.")
              for w in shift_totals(account, plan, now) if w.covered_hours > 0]
    drawn = sum((i.samples_ml for i in account.intervals), start=Decimal(0))
    if drawn:
        story.append(_p(f"Samples from the patient's port, not part of the output: {drawn} mL."))
    if any(not i.counted for i in account.intervals):
        story.append(_p("Intervals marked ? or unknown are not in the sums.", "small"))
    return story


def _readings(bed: BedAccount) -> list[Any]:
    rows = [[when(e), f"{_value(e)} mL", own_text(e), machine_text(e), e.initials,
             remarks(s)] for s in bed.standings if (e := s.entry).subject == "volume-reading"]
    if not rows:
        return []
    return [_p("Chamber readings", "head"),
            _table(("Seen", "Confirmed", "Own, first", "Machine (95 %)", "By", "Remarks"), rows,
                   (29, 20, 20, 36, 14, 59))]


def _value(e: Entry) -> str:
    return "" if e.confirmed_value is None else exact_text(e.confirmed_value)


def _others(bed: BedAccount) -> list[Any]:
    rows = [[when(e), what(e), e.initials, remarks(s)] for s in bed.standings
            if (e := s.entry).subject != "volume-reading"]
    if not rows:
        return []
    return [_p("Checks, orders, events and skipped steps", "head"),
            _table(("When", "What", "By", "Remarks"), rows, (29, 74, 14, 61))]


def _changes(bed: BedAccount, withdrawn: Sequence[Standing]) -> list[Any]:
    rows = []
    for s in (*bed.standings, *withdrawn):
        for before, after in zip(s.history, s.history[1:], strict=False):
            now = "withdrawn" if after.kind == "withdrawal" else what(after) + ", " + when(after)
            rows.append([f"{before.number} to {after.number}", f"{what(before)}, {when(before)}, "
                         f"{before.initials}", now, after.reason or "", after.initials])
    if not rows:
        return []
    return [_p("Corrections and withdrawals", "head"),
            _table(("Entries", "Was", "Is", "Reason", "By"), rows, (18, 56, 50, 40, 14))]


def _signatures() -> list[Any]:
    from reportlab.lib.units import mm
    from reportlab.platypus import Spacer

    line = "_" * 26
    return [Spacer(1, 10 * mm),
            _p(f"Handed over by {line}   Taken over by {line}   Time {line[:10]}")]


def _footer(text: str) -> Any:
    def draw(canvas: Any, document: Any) -> None:
        from reportlab.lib.units import mm

        canvas.setFont(REGULAR, 7)
        shown = text if len(text) < 130 else text[:127] + "..."
        canvas.drawString(16 * mm, 10 * mm, shown)
        canvas.drawRightString(194 * mm, 10 * mm, f"page {document.page}")

    return draw
