"""Sets of photos: an invented reader whose errors are known, and what the bench makes of it."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from app.cli import main
from vision.accuracy import run_sets
from vision.accuracy.labels import read_labels
from vision.accuracy.rows import read_rows
from vision.accuracy.sets import PhotoSet, measure_set, photo_sets, rows_of_set
from vision.accuracy.statistics import clopper_pearson, clopper_pearson_of_groups
from vision.errors import LabelFileError

SETS, MOVED = 40, 8
#: Sets that the invented reader treats wrongly.
FALSE_ALARM, MISSED, MISREAD, REFUSED, NAMED_WRONGLY = 3, 36, 5, 7, 38
SD = 0.1


def make_sets(folder: Path) -> Path:
    """Three photos each; in the last sets the third shows a level 2 to 6 divisions away."""
    rng = np.random.default_rng(5)
    lines = []
    for i in range(SETS):
        value = float(rng.uniform(10, 40))
        for k, view in enumerate("abc"):
            moved = i >= SETS - MOVED
            lines.append({
                "file": f"{i}_{view}.jpg", "scale": "quay-60", "set": i, "view": view,
                "true_value": value + (2.0 + 0.5 * (i - SETS + MOVED)) * (moved and k == 2),
                "moved": moved, "tier": ("easy", "typical", "hard")[(i + k) % 2 + (k == 2)],
                "expect": "read", "elevation_deg": (0.0, 5.0, -15.0)[k], "division": 1.0,
                "fluid": "red"})
    order = rng.permutation(len(lines))  # photos of a set need not follow each other
    path = folder / "labels.jsonl"
    path.write_text("".join(json.dumps(lines[k]) + "\n" for k in order))
    return path


def error(number: int, k: int) -> float:
    return float(np.random.default_rng([number, k]).normal(0, SD))


def invented(photos: PhotoSet):
    """Reads the mean of its photos; refuses different levels, but for the sets named above."""
    number = int(photos.name)
    place = {x.keys["view"]: k for k, x in enumerate(photos.labels)}
    third = place["c"]

    def read(members):
        truths = [photos.labels[k].truth for k in members]
        apart = max(truths) - min(truths) > 0.5
        whole = len(members) == len(photos.labels)
        if (apart and number != MISSED) or (number == FALSE_ALARM and whole):
            odd = None
            if apart and whole:
                odd = place["a"] if number == NAMED_WRONGLY else third
            return {"status": "refused", "unit": "mL", "flags": ("photos-disagree",),
                    "odd": odd}, 1.0
        if number == REFUSED and whole:
            return {"status": "refused", "unit": "mL", "flags": ("too-dark",)}, 1.0
        value = float(np.mean([
            t + error(number, k) for t, k in zip(truths, members, strict=True)]))
        if number == MISREAD and members == (0,):
            value += 2.0
        sd = SD / len(members) ** 0.5
        return {"status": "read", "unit": "mL", "value": value, "division": 1.0,
                "misread_limit": 1.0, "interval": (value - 1.96 * sd, value + 1.96 * sd)
                }, len(members) * 1.04 if whole else 1.0

    return rows_of_set(photos, read)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sets")
    labels = make_sets(folder)
    summary = run_sets(labels, folder / "out", progress=False, measure=invented)
    return SimpleNamespace(summary=summary, labels=labels, out=folder / "out",
                           rows=list(read_rows(folder / "out" / "results.jsonl")))


def test_every_combination_of_every_set_has_its_row(run):
    assert len(run.rows) == SETS * 7
    one = [r for r in run.rows if r.keys["set"] == "4"]
    by_place = [tuple(r.keys["views"]) for r in one]
    assert {tuple(sorted(v)) for v in by_place} == {
        c for n in (1, 2, 3) for c in combinations("abc", n)}
    whole = one[-1]
    assert whole.keys["whole"] and whole.file.count(" + ") == 2
    assert whole.keys["fluid"] == "red"  # what all photos share is kept,
    assert "elevation_deg" not in whole.keys and "view" not in whole.keys  # the rest is not
    assert whole.keys["spread_deg"] == 20.0
    assert whole.keys["tier"] == "typical"  # that of the worst photo
    pair = next(r for r in one if sorted(r.keys["views"]) == ["a", "b"])
    assert pair.keys["spread_deg"] == 5.0 and pair.keys["set_tier"] == "typical"


def test_one_photo_and_several_side_by_side(run):
    s = run.summary
    assert (s.sets, s.moved) == (SETS, MOVED)
    honest = SETS - MOVED
    assert s.alone.n == 3 * honest and s.together.n == honest
    # the same figures worked out here, from the invented errors
    alone = np.array([error(i, k) + 2.0 * ((i, k) == (MISREAD, 0))
                      for i in range(honest) for k in range(3)])
    together = np.array([np.mean([error(i, k) for k in range(3)]) for i in range(honest)
                         if i not in (FALSE_ALARM, REFUSED)])
    for found, expected in ((s.alone.errors_div, alone), (s.together.errors_div, together)):
        assert found.n == len(expected)
        assert found.bias == pytest.approx(expected.mean())
        assert found.mae == pytest.approx(abs(expected).mean())
        assert found.p95 == pytest.approx(np.percentile(abs(expected), 95))
        # Bland and Altman (1986): bias +- 1.96 standard deviations
        assert found.agreement.upper == pytest.approx(
            expected.mean() + 1.96 * expected.std(ddof=1))
    assert s.alone.misreads.count == 1 and s.together.misreads.count == 0
    assert s.together.refused_though_readable.count == 2
    assert {t: f[1].n for t, f in s.by_tier.items()} == {"typical": 16, "hard": 16}


def test_error_goes_with_the_number_of_photos(run):
    by = run.summary.by_number
    # pairs of a and b of moved sets, and all their single photos, show one level
    assert [by[n].n for n in "123"] == [3 * SETS, 3 * (SETS - MOVED) + MOVED, SETS - MOVED]
    assert by["3"].errors_div.rmse < by["2"].errors_div.rmse < by["1"].errors_div.rmse
    spread = run.summary.by_spread
    assert {k: f.n for k, f in spread.items()} == {
        "3 to 8": SETS, "15 to 25": 2 * (SETS - MOVED)}


def test_false_alarms_and_misses_with_exact_limits(run):
    whole, pairs = run.summary.whole, run.summary.pairs
    # Clopper and Pearson (1934) for one set each, by scipy's own
    for rate, count, n in ((whole.false_alarms, 1, SETS - MOVED), (whole.missed, 1, MOVED),
                           (whole.told, MOVED - 1, MOVED), (whole.named, MOVED - 2, MOVED - 1),
                           (whole.named_wrongly, 1, MOVED - 1)):
        ci = stats.binomtest(count, n).proportion_ci(method="exact")
        assert (rate.count, rate.n) == (count, n)
        assert (rate.ci.low, rate.ci.high) == pytest.approx((ci.low, ci.high))
    assert (pairs.missed.count, pairs.missed.n) == (2, 2 * MOVED)
    ci = stats.binomtest(1, MOVED).proportion_ci(method="exact")  # two pairs of a set are one
    assert (pairs.missed.ci.low, pairs.missed.ci.high) == pytest.approx((ci.low, ci.high))
    assert sum(r.n for r in whole.missed_by_distance.values()) == MOVED
    assert {k: r.count for k, r in whole.missed_by_distance.items() if r.count} == {"4 to 5": 1}
    assert {tuple(r.keys["views"]) for r in run.summary.missed} and all(
        r.keys["set"] == str(MISSED) for r in run.summary.missed)


def test_requirements_are_checked_and_the_page_says_them(run):
    checks = {(c.group, c.what): c for c in run.summary.checks}
    assert checks["moved sets", "refused"].met is False
    refused = checks["honest sets", "refused though readable"]     # 0.8 to 20.8 %
    assert (refused.found, refused.met) == (f"2 of {SETS - MOVED} (6.2%)", None)
    assert checks["3 photos", "silent misreads"].found == f"0 of {SETS - MOVED}"
    assert checks["3 photos", "silent misreads"].doubt == (
        "too few to tell: about 368 sets would")     # 1 - 0.025^(1/368) = 1 %
    mean = checks["3 photos", "mean absolute error, divisions"]
    assert mean.limit == "at most 0.050"
    assert mean.met == (run.summary.together.errors_div.mae <= 0.05)
    assert checks["all sets", "time over that of the photos alone, median"].found == "1.04"
    page = (run.out / "report.html").read_text()
    for words in ("40 sets of labels.jsonl, 8 of them moved", "Clopper and Pearson", "3 photos",
                  "15 to 25 degrees", f"{MISSED}_", "Moved, and a value was given"):
        assert words in page
    assert "http" not in page.replace("http://www.w3.org", "")
    assert json.loads((run.out / "summary.json").read_text())["moved"] == MOVED
    assert len((run.out / "results.csv").read_text().splitlines()) == 1 + 7 * SETS


@pytest.mark.slow
def test_a_killed_run_goes_on_and_gives_the_same(run, tmp_path):
    text = (run.out / "results.jsonl").read_text().splitlines(keepends=True)
    labels = make_sets(tmp_path)
    run_sets(labels, tmp_path / "out", progress=False, measure=invented)
    path = tmp_path / "out" / "results.jsonl"
    assert path.read_text() == "".join(text)
    path.write_text("".join(text[:7 * 3 + 2]) + text[7 * 3 + 2][:30])  # within the fourth set
    seen = []

    def watched(photos):
        seen.append(photos.name)
        return invented(photos)

    run_sets(labels, tmp_path / "out", progress=False, measure=watched)
    assert len(seen) == SETS - 3
    assert path.read_text() == "".join(text)


def test_a_moved_set_that_does_not_say_where_is_to_be_refused_as_a_whole(tmp_path):
    lines = [{"file": f"{v}.jpg", "scale": "quay-60", "set": 1, "true_value": 20, "moved": True}
             for v in "abc"]
    path = tmp_path / "labels.jsonl"
    path.write_text("".join(json.dumps(x) + "\n" for x in lines))
    photos, = photo_sets(read_labels(path))
    rows = rows_of_set(photos, lambda m: ({"status": "read", "value": 20.0, "division": 1.0,
                                           "interval": (19, 21)}, 1.0))
    assert [(len(r.keys["views"]), r.expect, r.misread) for r in rows] == [
        (1, "read", False), (1, "read", False), (1, "read", False), (3, "refuse", True)]


def test_sets_of_height_offsets_are_counted_in_mm(tmp_path):
    lines = [{"file": f"{i}{v}.jpg", "set": i, "view": v, "true_offset_mm": 10.0 * i + 30 * (
        i == 5 and v == "b"), "mode": "cards", "moved": i == 5} for i in range(6) for v in "ab"]
    path = tmp_path / "labels.jsonl"
    path.write_text("".join(json.dumps(x) + "\n" for x in lines))

    def two_mm_high(photos):
        def read(members):
            truths = [photos.labels[k].truth for k in members]
            if max(truths) > min(truths):
                return {"status": "refused", "unit": "mm", "flags": ("photos-disagree",)}, 1.0
            value = truths[0] + 2.0 / len(members)
            return {"status": "read", "unit": "mm", "value": value, "misread_limit": 18.0,
                    "interval": (value - 3, value + 3)}, 1.0
        return rows_of_set(photos, read)

    summary = run_sets(path, tmp_path / "out", progress=False, measure=two_mm_high)
    assert summary.unit == "mm" and (summary.sets, summary.moved) == (6, 1)
    assert summary.errors(summary.alone).mae == pytest.approx(2.0)
    assert summary.errors(summary.together).mae == pytest.approx(1.0)
    assert (summary.whole.told.count, summary.whole.false_alarms.count) == (1, 0)
    assert "3 to 4" in summary.whole.missed_by_distance  # 30 mm, counted in cm
    assert summary.by_tier == {}
    page = (tmp_path / "out" / "report.html").read_text()
    assert "bias, mm" in page and "<th>cm</th>" in page
    path.write_text(path.read_text() + json.dumps(
        {"file": "c.jpg", "set": 9, "scale": "quay-60", "true_value": 3}) + "\n")
    with pytest.raises(LabelFileError, match="two files"):
        photo_sets(read_labels(path))


def test_photos_without_a_set_and_sets_of_two_scales_are_told(tmp_path, capsys):
    path = tmp_path / "labels.jsonl"
    path.write_text('{"file": "a.jpg", "scale": "quay-60", "true_value": 3}\n')
    assert main(["benchmark", str(path), "--out", str(tmp_path / "out"), "--sets"]) == 2
    assert "'set'" in capsys.readouterr().err
    path.write_text("".join(json.dumps({"file": "a.jpg", "scale": s, "true_value": 3, "set": 1})
                            + "\n" for s in ("quay-60", "slate-50")))
    with pytest.raises(LabelFileError, match="Line 2 .* one scale"):
        photo_sets(read_labels(path))
    assert main(["benchmark", str(path), "--out", str(tmp_path / "out"), "--sets",
                 "--grid", "3"]) == 2
    assert "leave out" in capsys.readouterr().err


@pytest.mark.slow
def test_a_photo_that_cannot_be_opened_spoils_only_its_own_combinations(tmp_path):
    shared = Path(__file__).parents[3] / "shared" / "examples" / "sets" / "labels.jsonl"
    if not shared.exists():
        pytest.skip("no shared example sets")
    photos = photo_sets(read_labels(shared))[0]
    gone = PhotoSet(photos.name, (*photos.labels[:2], photos.labels[2].__class__(
        **{**photos.labels[2].__dict__, "path": tmp_path / "gone.jpg"})))
    rows = {tuple(r.keys["views"]): r for r in measure_set(gone)}
    assert [v for v, r in rows.items() if r.status == "error"] == [
        v for v in rows if "c" in v]
    pair = rows["a", "b"]
    assert pair.status == "read" and pair.hit
    assert pair.seconds < 1.3 * (rows["a",].seconds + rows["b",].seconds)


@pytest.mark.parametrize("count", [0, 4, 20, 40])
def test_intervals_of_grouped_trials(count):
    one, few = clopper_pearson(count, 40), clopper_pearson_of_groups(count, 40, 10)
    all_apart = clopper_pearson_of_groups(count, 40, 40)
    assert (all_apart.low, all_apart.high) == pytest.approx((one.low, one.high))
    # ten groups of four that tell the same: ten trials (Korn and Graubard, 1998)
    ten = clopper_pearson(count // 4, 10)
    assert (few.low, few.high) == pytest.approx((ten.low, ten.high))
    assert few.low <= one.low and few.high >= one.high
