"""The report of a run: one self-contained HTML page with plots, tables and pictures."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from pathlib import Path

import numpy as np

from vision.accuracy import charts, grid
from vision.accuracy.columns import Columns
from vision.accuracy.figures import Errors, Figures
from vision.accuracy.html import Raw, between, number, page, share, table
from vision.accuracy.limits import Check
from vision.accuracy.measure import LEVEL_MISREAD_MM
from vision.accuracy.pictures import picture_address
from vision.accuracy.rows import Row
from vision.accuracy.statistics import zero_events_bound
from vision.accuracy.summary import KindSummary, Summary
from vision.flags import FLAGS

#: Pictures of so many silent misreads are shown.
MOST_PICTURES = 24

KEY_NAMES = {
    "elevation_deg": "elevation, degrees", "azimuth_deg": "turn, degrees",
    "distance_mm": "distance, mm", "blur_px": "blur, px", "roll_deg": "roll, degrees",
    "contact_angle_deg": "contact angle, degrees", "lean_deg": "lean, degrees",
    "px_per_mm": "pixels per mm", "px_per_division": "pixels per division",
    "f35": "focal length (35 mm equivalent)", "n_plastic": "refractive index of the wall",
    "low_light": "low light", "expect": "expected",
}


def write_report(path: Path, summary: Summary, columns: Mapping[str, Columns],
                 pictures: Path, extra: str = "") -> None:
    """Write the page.  ``pictures`` is the folder that the files' names are relative to;
    ``extra`` is HTML of further sections (comparison, human readers)."""
    parts = [_head(summary)]
    parts += [_kind(part, columns[kind], pictures) for kind, part in summary.kinds.items()]
    path.write_text(page("Reading accuracy", "".join([*parts, extra, _method()])),
                    encoding="utf-8")


def _head(summary: Summary) -> str:
    checks = [c for part in summary.kinds.values() for c in part.checks]
    shown = [c for c in checks if c.met is not None]
    missed = [c for c in shown if not c.met]
    if not shown:
        text, style = "This set names no tier that a requirement is stated for.", ""
    elif missed:
        text, style = f"{len(missed)} of {len(shown)} requirements are not met.", " bad"
    else:
        text, style = f"All {len(shown)} requirements that this set can show are met.", ""
    n = sum(part.overall.n for part in summary.kinds.values())
    run = summary.run
    about = [f"{n} images of {run.get('labels', '')}", f"version {run.get('version', '')}",
             f"reader {str(run.get('reader_sha256', ''))[:12]}",
             f"labels {str(run.get('labels_sha256', ''))[:12]}"]
    return (f'<h1>Reading accuracy</h1><p class="soft">{escape("; ".join(about))}</p>'
            f'<div class="verdict{style}">{escape(text)}</div>')


def _kind(part: KindSummary, columns: Columns, pictures: Path) -> str:
    volume = part.kind == "volume"
    unit = "divisions" if volume else part.unit
    name = "error_div" if volume else "error"
    naive = "naive_error_div" if volume else "naive_error"
    main = part.overall.errors_div if volume else part.overall.errors
    tier_key = next((k for k in ("tier", "mode") if k in part.groups), None)
    plots = [
        charts.error_histogram(columns, name, naive, unit) if part.overall.scored else "",
        charts.error_against_elevation(columns, part.slope_corrected, part.slope_naive, unit),
        charts.agreement(columns, name, main.agreement if main else None, unit, part.unit),
        charts.cumulative(columns, name, unit),
    ]
    for key in ("tier", "mode", "elevation_deg", "fluid"):
        if key in part.groups:
            plots.append(charts.errors_by(part.groups[key], KEY_NAMES.get(key, key), unit))
    if tier_key:
        plots.append(charts.coverage_by({"all": part.overall, **part.groups[tier_key]}, tier_key))
    title = "Volume readings" if volume else "Height offsets"
    return "".join([
        f"<h2>{title}</h2>", _checks(part.checks), _figures(part, unit),
        f'<div class="plots">{"".join(p for p in plots if p)}</div>',
        grid.section(part.groups[grid.SETTING]) if grid.SETTING in part.groups else "",
        _misreads(part, pictures), _refusals(part, columns), _groups(part, unit),
    ])


def _checks(checks: tuple[Check, ...]) -> str:
    if not checks:
        return ""
    words = {True: Raw('<span class="met">met</span>'), None: "not shown",
             False: Raw('<span class="not">not met</span>')}
    rows = [(c.group, c.what, c.limit, c.found, words[c.met]) for c in checks]
    return "<h3>Requirements</h3>" + table(("tier", "what", "required", "found", ""), rows, "text")


def _figures(part: KindSummary, unit: str) -> str:
    f = part.overall
    columns: list[tuple[str, Errors | None]] = []
    if unit == "divisions":
        columns = [("corrected, divisions", f.errors_div), ("naive, divisions", f.naive_div)]
    columns += [(f"corrected, {part.unit}", f.errors), (f"naive, {part.unit}", f.naive)]
    columns = [(head, e) for head, e in columns if e is not None]
    rows: list[tuple[object, ...]] = []
    for name, attribute, form in (
            ("readings", "n", "d"), ("bias", "bias", "+.3f"), ("mean absolute error", "mae", ".3f"),
            ("root mean square error", "rmse", ".3f"), ("|error|, median", "p50", ".3f"),
            ("|error|, 90th percentile", "p90", ".3f"), ("|error|, 95th percentile", "p95", ".3f"),
            ("|error|, 99th percentile", "p99", ".3f")):
        rows.append((name, *(format(getattr(e, attribute), form) for _, e in columns)))
    for name, attribute in (("lower limit of agreement", "lower"), ("upper limit of agreement",
                                                                   "upper")):
        rows.append((name, *(_limit(e, attribute) for _, e in columns)))
    rows.append(("bias, 95 % interval", *(
        between(e.agreement.bias_ci if e and e.agreement else None, "+.3f") for _, e in columns)))
    method = next((e.agreement.method for _, e in columns if e and e.agreement), None)
    note = "" if method is None else (
        f'<p class="soft">Limits of agreement: bias \N{PLUS-MINUS SIGN} 1.96 standard deviations; '
        f"in brackets their {method} 95 % intervals.</p>")
    errors = table(("", *(head for head, _ in columns)), rows) + note if columns else (
        "<p>No image of this kind was read.</p>")
    return "<h3>All images</h3>" + errors + table(("what", "found"), _rates(f, part), "text")


def _limit(e: Errors | None, which: str) -> str:
    if e is None or e.agreement is None:
        return number(None)
    ci = e.agreement.lower_ci if which == "lower" else e.agreement.upper_ci
    return f"{getattr(e.agreement, which):+.3f} ({between(ci, '+.3f')})"


def _rates(f: Figures, part: KindSummary) -> list[tuple[object, object]]:
    bound = "" if f.misreads.count else (
        f"; the true rate is below {100 * zero_events_bound(f.misreads.n):.2f} % (95 %)")
    width = number(f.mean_width) + f" {part.unit}"
    if f.mean_width_div is not None:
        width += f" ({f.mean_width_div:.3f} divisions)"
    rows: list[tuple[object, object]] = [
        ("truth inside the 95 % interval", share(f.coverage)),
        ("mean width of the interval", width if f.mean_width is not None else number(None)),
        ("silent misreads", share(f.misreads) + bound),
        ("refused though readable", share(f.refused_though_readable)),
        ("refused, as expected", share(f.refused_as_expected)),
        ("called off scale, as expected", share(f.off_scale_as_expected)),
        ("read though to be refused or off scale", f.read_though_not_to_be),
        ("stopped by an error", f.stopped_by_error),
        ("seconds per image, median", number(f.seconds_median, ".2f")),
    ]
    if part.cameras:
        rows.append(("focal length from", "; ".join(
            f"{name}: {n} images" for name, n in part.cameras.items())))
    if f.nearer_rim.n:
        rows.append(("readings nearer the rim of the meniscus than the truth", share(f.nearer_rim)))
    if f.elevation_rmse_deg is not None:
        rows.append(("estimated elevation minus truth, degrees",
                     f"bias {number(f.elevation_bias_deg, '+.2f')}, "
                     f"RMS {number(f.elevation_rmse_deg, '.2f')}"))
    for name, fit in (("corrected", part.slope_corrected), ("naive", part.slope_naive)):
        if fit is not None:
            rows.append((f"slope of error against elevation, {name}, divisions per degree",
                         f"{fit.slope:+.4f} ({between(fit.slope_ci, '+.4f')})"))
    return [row for row in rows if row[1] != number(None)]


def _groups(part: KindSummary, unit: str) -> str:
    head = ("", "images", "read", "silent misreads", f"bias, {unit}", "MAE", "RMSE", "50 %",
            "90 %", "95 %", "99 %", "limits of agreement", "naive MAE", "interval holds truth",
            "mean width", "refused though readable", "refused as expected")
    out = ["<h3>By label key</h3>"]
    for key, values in part.groups.items():
        if key == grid.SETTING:
            continue
        rows = []
        for name, f in values.items():
            e, plain = (f.errors_div, f.naive_div) if unit == "divisions" else (f.errors, f.naive)
            width = f.mean_width_div if unit == "divisions" else f.mean_width
            a = e.agreement if e else None
            rows.append((
                name, f.n, f.scored, f.misreads.count, number(e.bias if e else None, "+.3f"), *(
                    number(getattr(e, p) if e else None)
                    for p in ("mae", "rmse", "p50", "p90", "p95", "p99")),
                f"{a.lower:+.2f} to {a.upper:+.2f}" if a else None,
                number(plain.mae if plain else None), _short(f.coverage.count, f.coverage.n),
                number(width), _short(f.refused_though_readable.count,
                                      f.refused_though_readable.n),
                _short(f.refused_as_expected.count, f.refused_as_expected.n)))
        opened = " open" if key in ("tier", "mode", "elevation_deg", "fluid", "scale") else ""
        out.append(f"<details{opened}><summary>{escape(KEY_NAMES.get(key, key))}</summary>"
                   f"{table(head, rows)}</details>")
    return "".join(out) if part.groups else ""


def _short(count: int, n: int) -> str | None:
    return None if n == 0 else f"{100 * count / n:.1f} % of {n}"


def _misreads(part: KindSummary, pictures: Path) -> str:
    total = part.overall.misreads.count
    what = ("wrong by more than one division" if part.kind == "volume" else "wrong by more than "
            f"{LEVEL_MISREAD_MM:g} mm with the truth outside the interval")
    what += ", or read without anything to read"
    if total == 0:
        return f"<h3>Silent misreads</h3><p>None ({what}, and not refused).</p>"
    shown = part.misreads[:MOST_PICTURES]
    figures = "".join(_picture(row, pictures) for row in shown)
    more = "" if total == len(shown) else f" The first {len(shown)} are shown."
    return (f"<h3>Silent misreads: {total}</h3><p>Read, {what}, and not refused.{more} "
            "Orange: read; green: true, where the label says where it is.</p>"
            f'<div class="pictures">{figures}</div>')


def _picture(row: Row, folder: Path) -> str:
    lines = [row.file, f"read {number(row.value)} {row.unit}, true {number(row.truth)}"]
    if row.interval_low is not None and row.interval_high is not None:
        lines.append(f"interval {row.interval_low:.3f} to {row.interval_high:.3f}")
    if row.flags:
        lines.append("flags: " + ", ".join(row.flags))
    image = picture_address(row, folder)
    shown = f'<img alt="" src="{image}">' if image else "<p>(picture not found)</p>"
    return f"<figure>{shown}<figcaption>{'<br>'.join(map(escape, lines))}</figcaption></figure>"


def _refusals(part: KindSummary, columns: Columns) -> str:
    from vision.accuracy.rows import VERDICTS

    counts = [(text, int(np.count_nonzero(columns.verdicts(name))))
              for name, text in VERDICTS.items()]
    out = "<h3>What became of the images</h3>" + table(
        ("", "images"), [c for c in counts if c[1]])
    if part.flags:
        rows = [(name, FLAGS[name].short if name in FLAGS else "", n)
                for name, n in part.flags.items()]
        out += ("<details><summary>Flags raised</summary>"
                f"{table(('flag', '', 'images'), rows)}</details>")
    if part.failures:
        stopped = [(row.file, row.message) for row in part.failures[:50]]
        out += ("<details><summary>Stopped by an error</summary>"
                f"{table(('picture', 'message'), stopped, 'text')}</details>")
    return out


def _method() -> str:
    return """<h2>How the figures are made</h2>
<p>Error is reading minus truth. A division is the interval between two neighbouring marks of the
scale at the true value. Errors are those of images that were expected to be read and were read;
refusals are counted beside them. A silent misread is a value given with more than one division of
error, or where there was nothing to read.</p>
<p>Limits of agreement after Bland and Altman, Lancet 1986;327:307-310, with 1.96 standard
deviations; their intervals are exact (non-central t; Carkeet, Optom Vis Sci 2015;92:e71-e80) below
200 readings and approximate from there on. Intervals of proportions after Clopper and Pearson,
Biometrika 1934;26:404-413. Percentiles by linear interpolation between order statistics. Slopes by
least squares. Paired comparisons by Wilcoxon's signed-rank test and the exact McNemar test.
Components of variation by two-way analysis of variance with interaction.</p>
<p>The naive reading is the mark that the visible surface covers in the picture, without correction
for the elevation of the view and the shape of the meniscus.</p>
<p>Figures found on made pictures say how the reader treats the optics and the disturbances that
were made; they do not replace a trial on real photographs of the chamber in use.</p>"""
