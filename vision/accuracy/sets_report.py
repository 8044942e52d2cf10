"""The report of sets: one photo beside several, on one self-contained page."""

from __future__ import annotations

from pathlib import Path

from vision.accuracy import charts
from vision.accuracy.figures import Figures, Rate
from vision.accuracy.html import number, page, share
from vision.accuracy.rows import Row
from vision.accuracy.sets_summary import AgreementFigures, SetsSummary

_HEAD = ("", "combina\N{SOFT HYPHEN}tions", "read", "silent misreads (95 % limits)",
         "bias, {unit}", "MAE", "95 %", "limits of agreement",
         "interval holds truth (95 % limits)", "mean width",
         "refused though readable (95 % limits)")


def write_sets_report(path: Path, summary: SetsSummary) -> None:
    """Write the page."""
    s, run = summary, summary.run
    shown = [c for c in s.checks if c.met is not None]
    side_by_side = [_row(s, "each photo alone", s.alone),
                    _row(s, "all photos of a set", s.together)]
    for tier, (alone, together) in s.by_tier.items():
        side_by_side += [_row(s, f"{tier}: alone", alone),
                         _row(s, f"{tier}: together", together)]
    numbers = {f"{n} photo{'s' * (n != '1')}": f for n, f in s.by_number.items()}
    path.write_text(page(
        "sets.html", summary=s, shown=len(shown), missed=sum(not c.met for c in shown),
        about=(f"{s.sets} sets of {run.get('labels', '')}, {s.moved} of them moved",
               f"version {run.get('version', '')}",
               f"reader {str(run.get('reader_sha256', ''))[:12]}",
               f"labels {str(run.get('labels_sha256', ''))[:12]}"),
        head=[text.format(unit=s.unit) for text in _HEAD], side_by_side=side_by_side,
        by_number=[_row(s, name, f) for name, f in numbers.items()],
        by_spread=[_row(s, f"{name} degrees", f) for name, f in s.by_spread.items()],
        plots=[plot for groups, key in ((numbers, "number of photos"),
                                        (s.by_spread, "spread of two elevations, degrees"))
               for plot in (charts.errors_by(groups, key, s.unit, naive=False),
                            charts.coverage_by(groups, key))],
        agreement=_agreement(s.whole, s.pairs),
        distances=[(name, share(rate), share(s.whole.missed_by_distance[name])
                    if name in s.whole.missed_by_distance else None)
                   for name, rate in s.pairs.missed_by_distance.items()],
        listed=[(title, [_listed(r) for r in rows]) for title, rows in (
            ("Silent misreads of photos that show one level", s.misreads),
            ("Moved, and a value was given", s.missed),
            ("Refused together though they show one level", s.refused),
            ("Stopped by an error", s.failures)) if rows]), encoding="utf-8")


def _row(s: SetsSummary, name: str, f: Figures) -> tuple[object, ...]:
    e = s.errors(f)
    width = f.mean_width_div if s.unit == "divisions" else f.mean_width
    a = e.agreement if e else None
    return (name, f.n, f.scored, _short(f.misreads), number(e.bias if e else None, "+.3f"),
            number(e.mae if e else None), number(e.p95 if e else None),
            f"{a.lower:+.2f} to {a.upper:+.2f}" if a else None, _short(f.coverage),
            number(width), _short(f.refused_though_readable))


def _short(rate: Rate) -> str | None:
    if rate.rate is None or rate.ci is None:
        return None
    return f"{100 * rate.rate:.1f} % ({100 * rate.ci.low:.1f} to {100 * rate.ci.high:.1f})"


def _agreement(whole: AgreementFigures, pairs: AgreementFigures) -> list[tuple[str, str, str]]:
    rows = (("one level, told that the photos disagree (false alarm)", "false_alarms"),
            ("another level in one photo, told that the photos disagree", "told"),
            ("another level in one photo, a value was given (miss)", "missed"),
            ("of those told: the photo that stands apart was named", "named"),
            ("of those told: another photo was named", "named_wrongly"))
    return [(text, share(getattr(whole, name)), share(getattr(pairs, name)))
            for text, name in rows]


def _listed(row: Row) -> tuple[object, ...]:
    interval = None if row.interval_low is None or row.interval_high is None else (
        f"{row.interval_low:.2f} to {row.interval_high:.2f}")
    return (row.file, row.status, number(row.value, ".2f"), interval, number(row.truth, ".2f"),
            "; ".join(row.flags) or row.message)
