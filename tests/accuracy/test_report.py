"""What the report says: requirements, silent misreads with pictures, comparison, people."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from benchmark_sets import make_set, reader
from PIL import Image
from scipy import stats

from app.commands.benchmark import _say
from vision.accuracy import run_benchmark
from vision.accuracy import store as storing
from vision.accuracy.figures import Rate
from vision.accuracy.limits import COVERAGE_LIMITS, VOLUME_LIMITS, share_check
from vision.accuracy.measure import compare
from vision.accuracy.pictures import picture_address
from vision.accuracy.rows import Row, verdict
from vision.accuracy.statistics import Interval
from vision.accuracy.trial import Attempt, append_attempt, plan, read_attempts, remaining
from vision.errors import InputError


class _Pages(HTMLParser):
    def __init__(self):
        super().__init__()
        self.text, self.addresses = "", []

    def handle_data(self, data):
        self.text += data + "\n"

    def handle_starttag(self, tag, attrs):
        self.addresses += [v for k, v in attrs if k in ("src", "href") and v]


def parse(path: Path) -> _Pages:
    pages = _Pages()
    pages.feed(path.read_text())
    return pages


def test_requirements_are_met_by_a_good_reader(tmp_path):
    s = run_benchmark(make_set(tmp_path), tmp_path / "out", progress=False, measure=reader)
    assert s.met
    checks = {(c.group, c.what): c for c in s.kinds["volume"].checks}
    assert checks["unreadable", "refused"].found == "12 of 12"
    assert checks["all", "remaining slope of error against elevation"].met
    assert s.kinds["volume"].slope_naive.slope == pytest.approx(0.25)
    part = s.kinds["volume"]
    hard = part.groups["tier"]["hard"]
    assert hard.errors_div.mae == pytest.approx(0.20 * np.sqrt(2 / np.pi), rel=0.3)
    assert part.groups["fluid"]["red"].n == 60
    assert "frame" not in part.groups  # 120 values say nothing by value
    assert sum(f.n for f in part.groups["elevation_deg"].values()) == 120


def test_a_bias_fails_the_requirements_and_is_seen(tmp_path):
    s = run_benchmark(make_set(tmp_path), tmp_path / "out", progress=False,
                      measure=lambda label: reader(label, 0.5))
    assert not s.met
    assert s.kinds["volume"].overall.errors_div.bias == pytest.approx(0.5, abs=0.03)
    assert "requirements are not met" in parse(tmp_path / "out" / "report.html").text


def _rate(count, n):
    ci = stats.binomtest(count, n).proportion_ci(method="exact")
    return Rate(count, n, count / n, Interval(ci.low, ci.high))


@pytest.mark.parametrize(("inside", "n", "met"), [
    (36, 36, None),       # 90.3 to 100 %: reaches in
    (240, 240, False),    # 98.5 to 100 %
    (385, 400, True),     # 93.9 to 97.9 %
    (19, 20, None),       # 75.1 to 99.9 %: the share is right, and shows nothing
    (10, 36, False)])
def test_the_share_of_intervals_that_hold_the_truth(inside, n, met):
    check = share_check("easy", "inside", "92 to 98 %", _rate(inside, n), *COVERAGE_LIMITS)
    assert check.met is met and bool(check.doubt) == (met is None)


@pytest.mark.parametrize(("refused", "n", "met"), [
    (0, 4, None), (0, 367, None), (0, 368, True),       # 1 - 0.025^(1/n) is 1 % at 368
    (1, 36, None), (3, 36, False), (4, 1000, None), (4, 1100, True)])
def test_refusals_are_judged_by_their_exact_limits(refused, n, met):
    """At most 1 % of easy pictures; no pictures refused of four shows nothing."""
    check = share_check("easy", "refused though readable", "at most 1 %", _rate(refused, n),
                        0.0, VOLUME_LIMITS["easy"][2])
    assert check.met is met
    if not refused and met is None:
        assert check.doubt == "too few to tell: about 368 pictures would"


@pytest.mark.slow
def test_no_misread_of_a_few_pictures_shows_little_and_one_is_enough(tmp_path, capsys):
    labels = make_set(tmp_path)
    for shift, met in ((0.0, None), (2.0, False)):
        s = run_benchmark(labels, tmp_path / str(shift), progress=False,
                          measure=lambda label, shift=shift: reader(label, shift * (
                              label.index == 3)))
        check = next(c for c in s.kinds["volume"].checks
                     if (c.group, c.what) == ("easy", "silent misreads"))
        assert check.met is met and check.found == f"{int(shift > 0)} of 36"
        words = "too few to tell: about 368 pictures would" if met is None else "not met"
        rows = re.findall(r"easy\nsilent misreads\n.*\n.*\n(.*)",
                          parse(tmp_path / str(shift) / "report.html").text)
        assert rows == [words]
        _say([check])
        assert words in capsys.readouterr().out.replace("NOT MET", "not met")


def test_a_silent_misread_is_listed_with_its_picture(tmp_path):
    Image.new("RGB", (60, 80), "teal").save(tmp_path / "3.jpg")

    def careless(label):
        return reader(label, 2.0 if label.index in (3, 4) else 0.0)

    s = run_benchmark(make_set(tmp_path), tmp_path / "out", progress=False, measure=careless)
    assert [r.file for r in s.kinds["volume"].misreads] == ["3.jpg", "4.jpg"]
    page = parse(tmp_path / "out" / "report.html")
    assert sum(a.startswith("data:image/jpeg;base64,") for a in page.addresses) == 1
    assert "3.jpg" in page.text and "picture not found" in page.text


def test_a_misreads_picture_shows_where_it_was_read_and_where_the_truth_is(tmp_path):
    """Orange at (30, 20) to the left, green at (30, 60) to the right, on a grey picture."""
    Image.new("RGB", (60, 80), (128, 128, 128)).save(tmp_path / "a.jpg")
    row = Row(0, "a.jpg", "volume", "mL", "read", "read", "read", True, truth=1.0, value=9.0,
              surface_px=(30.0, 20.0), keys={"surface_px": [30.0, 60.0]})
    address = picture_address(row, tmp_path)
    image = Image.open(io.BytesIO(base64.b64decode(address.split(",")[1]))).convert("RGB")
    (r1, g1, b1), (r2, g2, b2) = image.getpixel((22, 20)), image.getpixel((38, 60))
    assert r1 > g1 + 40 and r1 > b1 + 60
    assert g2 > r2 + 40 and g2 > b2 + 10
    assert max(image.getpixel((50, 5))) - min(image.getpixel((50, 5))) < 12
    assert picture_address(replace(row, file="gone.jpg"), tmp_path) is None


def test_a_reading_of_what_cannot_be_read_is_a_misread_when_there_is_no_truth(tmp_path):
    path = tmp_path / "labels.jsonl"
    path.write_text('{"file": "a.jpg", "scale": "quay-60", "expect": "refuse",'
                    ' "tier": "unreadable"}')
    found = {"status": "read", "unit": "mL", "value": 3.0, "division": 1.0, "misread_limit": 1.0}
    s = run_benchmark(path, tmp_path / "out", progress=False,
                      measure=lambda label: compare(label, found, 0.0))
    assert s.kinds["volume"].overall.misreads.count == 1
    assert not s.met


def test_the_page_needs_nothing_from_outside_and_escapes_what_labels_say(tmp_path):
    run_benchmark(make_set(tmp_path), tmp_path / "out", progress=False, measure=reader)
    text = (tmp_path / "out" / "report.html").read_text()
    page = parse(tmp_path / "out" / "report.html")
    assert all(a.startswith("data:") for a in page.addresses)
    assert not re.search(r"<script|@import|url\(\s*['\"]?https?:", text)
    assert "<b>bench" not in text
    assert text.count("<figcaption>") >= 6


def test_table_and_summary_hold_the_same_as_the_rows(tmp_path):
    run_benchmark(make_set(tmp_path), tmp_path / "out", progress=False, measure=reader)
    with (tmp_path / "out" / "results.csv").open() as handle:
        table = list(csv.DictReader(handle))
    assert len(table) == 120 and table[9]["verdict"] == "refused"
    errors = [abs(float(r["error_div"])) for r in table if r["error_div"]]
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    overall = summary["kinds"]["volume"]["overall"]
    assert overall["errors_div"]["mae"] == pytest.approx(np.mean(errors))
    assert overall["errors_div"]["p95"] == pytest.approx(np.percentile(errors, 95))
    assert overall["coverage"]["count"] == sum(r["hit"] == "True" for r in table)


@pytest.mark.parametrize(("expect", "status", "met"), [
    ("read", "read", True), ("read", "refused", False), ("read", "above-scale", False),
    ("refuse", "refused", True), ("refuse", "read", False), ("refuse", "below-scale", False),
    ("off-scale", "below-scale", True), ("off-scale", "above-scale", True),
    ("read-wide", "read", True), ("read-wide", "refused", True), ("read-wide", "error", False),
    ("off-scale", "refused", False), ("off-scale", "read", False), ("read", "error", False),
])
def test_status_against_expectation(expect, status, met):
    assert (verdict(expect, status) in ("read", "refused", "off-scale", "wide")) == met


class TestComparison:
    def runs(self, tmp_path, new):
        path = make_set(tmp_path)
        run_benchmark(path, tmp_path / "old", progress=False, measure=reader)
        run_benchmark(path, tmp_path / "new", progress=False, measure=new,
                      compare=tmp_path / "old" / "summary.json")
        return json.loads((tmp_path / "new" / "summary.json").read_text())["comparison"]["volume"]

    @pytest.mark.slow
    def test_nothing_changed(self, tmp_path):
        c = self.runs(tmp_path, reader)
        assert (c["pairs"], c["unchanged"], c["error_test"]["p_value"]) == (120, 120, 1.0)

    @pytest.mark.slow
    def test_worse_refusing_and_misreading_are_each_seen(self, tmp_path):
        def worse(label):
            if label.index % 10 == 0:
                return compare(label, {"status": "refused", "unit": "mL"}, 0.1)
            return reader(label, 3.0 if label.index == 5 else 0.15)

        c = self.runs(tmp_path, worse)
        assert c["newly_refused"] == 12 and c["newly_read"] == 0
        assert c["read_test"]["p_value"] == pytest.approx(2 * 0.5**12)
        assert c["new_misreads"] == 1 and c["listed"][0]["file"] == "5.jpg"
        assert c["farther"] > c["closer"] and c["error_test"]["p_value"] < 1e-3
        assert "Compared with the earlier run" in parse(tmp_path / "new" / "report.html").text

    @pytest.mark.slow
    def test_the_same_folder_compares_with_what_was_moved_aside(self, tmp_path, monkeypatch):
        path, out = make_set(tmp_path), tmp_path / "out"
        run_benchmark(path, out, progress=False, measure=reader)
        with pytest.raises(InputError, match="this run itself"):
            run_benchmark(path, out, progress=False, measure=reader, compare=out / "summary.json")
        monkeypatch.setattr(storing, "reader_digest", lambda: "changed reader")
        run_benchmark(path, out, progress=False, compare=out / "summary.json",
                      measure=lambda label: reader(label, 0.1))
        content = json.loads((out / "summary.json").read_text())
        assert content["comparison"]["volume"]["unchanged"] == 12

    def test_no_earlier_run_is_one_sentence(self, tmp_path):
        with pytest.raises(InputError, match="no earlier run"):
            run_benchmark(make_set(tmp_path), tmp_path / "out", progress=False, measure=reader,
                          compare=tmp_path / "none.json")


class TestPeople:
    def trial(self, tmp_path, labels):
        """Three readers, two rounds of 40 pictures: bias 0.3, 0 and -0.3 divisions, spread
        0.2; R3 cannot read one."""
        path = tmp_path / "readings.jsonl"
        rng = np.random.default_rng(4)
        for code, bias in (("R1", 0.3), ("R2", 0.0), ("R3", -0.3)):
            for file, repeat in plan([x["file"] for x in labels], code, 2):
                truth = next(x["true_value"] for x in labels if x["file"] == file)
                value = None if (code, file) == ("R3", labels[0]["file"]) else (
                    truth + bias + float(rng.normal(0, 0.2)))
                append_attempt(path, Attempt(file, code, repeat, value, 6.0, "2026-11-25T08:00Z"))
        return path

    @pytest.mark.slow
    def test_people_stand_beside_naive_and_corrected(self, tmp_path):
        path = make_set(tmp_path)
        labels = [json.loads(t) for t in path.read_text().splitlines()]
        labels = [x for x in labels if x["expect"] == "read"][:40]
        readings = self.trial(tmp_path, labels)
        run_benchmark(path, tmp_path / "out", progress=False, measure=reader, readers=readings)
        found = json.loads((tmp_path / "out" / "summary.json").read_text())["people"]
        who = {r["who"]: r for r in found["readers"]}
        assert list(who) == ["R1", "R2", "R3", "all people", "naive", "corrected"]
        assert who["R1"]["errors"]["bias"] == pytest.approx(0.3, abs=0.07)
        assert who["R3"]["cannot_read"] == 2 and who["corrected"]["errors"]["n"] == 40
        assert found["within_reader_sd"] == pytest.approx(0.2, rel=0.15)
        assert found["study_images"] == 39
        assert found["study"]["repeatability"] == pytest.approx(0.2, rel=0.15)
        assert found["study"]["reproducibility"] == pytest.approx(0.3, rel=0.2)
        assert found["corrected_closer"] > 30
        text = " ".join(parse(tmp_path / "out" / "report.html").text.split())
        assert "People, naive and corrected" in text
        # this trial was kept by a page without a way to come nearer, and the report says so
        assert "way to come nearer, in 0 of 240 readings; in the others a copy" in text
        old = readings.read_text()
        readings.write_text(old.replace('"zoom": false', '"zoom": true'))
        run_benchmark(path, tmp_path / "new", progress=False, measure=reader, readers=readings)
        assert "whole and in all its pixels, and could come nearer" in " ".join(
            parse(tmp_path / "new" / "report.html").text.split())
        # A reading of before the field was there.
        readings.write_text(old.replace(', "zoom": false', ""))
        assert not any(a.zoom for a in read_attempts(readings))

    def test_order_is_random_whole_rounds_and_taken_up_again(self):
        files = [f"{i}.jpg" for i in range(30)]
        tasks = plan(files, "R1", 3)
        assert tasks == plan(files, "R1", 3) and tasks != plan(files, "R2", 3)
        for repeat in range(3):
            round_ = [f for f, r in tasks if r == repeat]
            assert sorted(round_) == sorted(files) and round_ != files
        assert all(a[0] != b[0] for a, b in zip(tasks, tasks[1:], strict=False))
        done = [Attempt(f, "R1", r, 1.0, 1.0, "") for f, r in tasks[:40]]
        assert remaining(tasks, "R1", done) == tasks[40:]

    def test_readings_come_back_as_they_were_written(self, tmp_path):
        path = tmp_path / "r.jsonl"
        attempts = [Attempt("a.jpg", "R1", 0, 12.5, 3.2, "t"),
                    Attempt("a.jpg", "R1", 1, None, 1, "u")]
        for a in attempts:
            append_attempt(path, a)
        assert list(read_attempts(path)) == [replace(a, seconds=float(a.seconds)) for a in attempts]
        with pytest.raises(InputError):
            append_attempt(path, replace(attempts[0], value=float("nan")))
        assert list(read_attempts(tmp_path / "none.jsonl")) == []

    def test_a_trial_of_other_pictures_is_refused(self, tmp_path):
        other = tmp_path / "r.jsonl"
        append_attempt(other, Attempt("other.jpg", "R1", 0, 1.0, 1.0, ""))
        with pytest.raises(InputError, match="No picture of this set"):
            run_benchmark(make_set(tmp_path), tmp_path / "out", progress=False, measure=reader,
                          readers=other)
