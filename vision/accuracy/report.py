"""The report of a run: one self-contained HTML page with plots, tables and pictures."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from vision.accuracy import charts, grid
from vision.accuracy.columns import Columns
from vision.accuracy.comparison import Comparison
from vision.accuracy.figures import Errors, Figures
from vision.accuracy.html import between, number, of, page, share
from vision.accuracy.measure import LEVEL_MISREAD_MM
from vision.accuracy.people import PeopleSummary
from vision.accuracy.pictures import picture_address
from vision.accuracy.rows import VERDICTS
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


def write_report(path: Path, summary: Summary, columns: Mapping[str, Columns], pictures: Path,
                 comparison: Mapping[str, Comparison] | None = None,
                 people: PeopleSummary | None = None) -> None:
    """Write the page.  ``pictures`` is the folder that the files' names are relative to."""
    checks = [c for part in summary.kinds.values() for c in part.checks if c.met is not None]
    n = sum(part.overall.n for part in summary.kinds.values())
    run = summary.run
    path.write_text(page(
        "report.html", shown=len(checks), missed=sum(not c.met for c in checks),
        about=(f"{n} images of {run.get('labels', '')}", f"version {run.get('version', '')}",
               f"reader {str(run.get('reader_sha256', ''))[:12]}",
               f"labels {str(run.get('labels_sha256', ''))[:12]}"),
        kinds=[_kind(part, columns[kind], pictures) for kind, part in summary.kinds.items()],
        comparison=comparison, people=people), encoding="utf-8")


def _kind(part: KindSummary, columns: Columns, pictures: Path) -> dict[str, Any]:
    """What the template of one kind of image says."""
    volume = part.kind == "volume"
    unit = "divisions" if volume else part.unit
    name, naive = ("error_div", "naive_error_div") if volume else ("error", "naive_error")
    main = part.overall.errors_div if volume else part.overall.errors
    tier_key = next((k for k in ("tier", "mode") if k in part.groups), None)
    plots = [
        charts.error_histogram(columns, name, naive, unit) if part.overall.scored else None,
        charts.error_against_elevation(columns, part.slope_corrected, part.slope_naive, unit),
        charts.agreement(columns, name, main.agreement if main else None, unit, part.unit),
        charts.cumulative(columns, name, unit),
        *(charts.errors_by(part.groups[key], KEY_NAMES.get(key, key), unit)
          for key in ("tier", "mode", "elevation_deg", "fluid") if key in part.groups),
        charts.coverage_by({"all": part.overall, **part.groups[tier_key]}, tier_key)
        if tier_key else None]
    settings = part.groups.get(grid.SETTING)
    counts = ((text, int(np.count_nonzero(columns.verdicts(name))))
              for name, text in VERDICTS.items())
    return {
        "title": "Volume readings" if volume else "Height offsets", "unit": unit,
        "overall": part.overall, "checks": part.checks, "plots": plots,
        **_figures(part, unit), "rates": _rates(part.overall, part),
        "grid": settings, "grid_plot": charts.shares(settings) if settings else None,
        "misread": "wrong by more than one division" if volume else
                   f"wrong by more than {LEVEL_MISREAD_MM:g} mm with the truth outside the "
                   "interval",
        "pictures": [(row, picture_address(row, pictures))
                     for row in part.misreads[:MOST_PICTURES]],
        "counts": [c for c in counts if c[1]],
        "flags": [(flag, FLAGS[flag].short if flag in FLAGS else "", n)
                  for flag, n in part.flags.items()],
        "stopped": [(row.file, row.message) for row in part.failures[:50]],
        "groups": [(KEY_NAMES.get(key, key),
                    key in ("tier", "mode", "elevation_deg", "fluid", "scale"),
                    [_group(name, f, unit) for name, f in values.items()])
                   for key, values in part.groups.items() if key != grid.SETTING],
    }


def _figures(part: KindSummary, unit: str) -> dict[str, Any]:
    f = part.overall
    columns: list[tuple[str, Errors | None]] = []
    if unit == "divisions":
        columns = [("corrected, divisions", f.errors_div), ("naive, divisions", f.naive_div)]
    columns += [(f"corrected, {part.unit}", f.errors), (f"naive, {part.unit}", f.naive)]
    found = [(head, e) for head, e in columns if e is not None]
    rows: list[tuple[object, ...]] = [
        (name, *(format(getattr(e, attribute), form) for _, e in found))
        for name, attribute, form in (
            ("readings", "n", "d"), ("bias", "bias", "+.3f"), ("mean absolute error", "mae", ".3f"),
            ("root mean square error", "rmse", ".3f"), ("|error|, median", "p50", ".3f"),
            ("|error|, 90th percentile", "p90", ".3f"), ("|error|, 95th percentile", "p95", ".3f"),
            ("|error|, 99th percentile", "p99", ".3f"))]
    rows += [(f"{which} limit of agreement", *(_limit(e, which) for _, e in found))
             for which in ("lower", "upper")]
    rows.append(("bias, 95 % interval", *(
        between(e.agreement.bias_ci if e.agreement else None, "+.3f") for _, e in found)))
    return {"errors": bool(found), "errors_head": ("", *(head for head, _ in found)),
            "errors_rows": rows,
            "method": next((e.agreement.method for _, e in found if e.agreement), None)}


def _limit(e: Errors, which: str) -> str:
    if e.agreement is None:
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


def _group(name: str, f: Figures, unit: str) -> tuple[object, ...]:
    e, plain, width = (f.errors_div, f.naive_div, f.mean_width_div) if unit == "divisions" else (
        f.errors, f.naive, f.mean_width)
    a = e.agreement if e else None
    return (
        name, f.n, f.scored, f.misreads.count, number(e.bias if e else None, "+.3f"),
        *(number(getattr(e, p) if e else None)
          for p in ("mae", "rmse", "p50", "p90", "p95", "p99")),
        f"{a.lower:+.2f} to {a.upper:+.2f}" if a else None, number(plain.mae if plain else None),
        of(f.coverage), number(width), of(f.refused_though_readable), of(f.refused_as_expected))
