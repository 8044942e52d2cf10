"""The accuracy that the reader has to reach, and whether a set shows that it does."""

from __future__ import annotations

from dataclasses import dataclass

from vision.accuracy.figures import Errors, Figures
from vision.accuracy.statistics import Slope

#: Tier -> largest (mean |error|, 95th percentile, share refused though readable),
#: errors in divisions.  Of the project's requirements.
VOLUME_LIMITS: dict[str, tuple[float, float, float]] = {
    "easy": (0.10, 0.25, 0.01),
    "typical": (0.15, 0.40, 0.03),
    "hard": (0.30, 0.80, 0.15),
}
#: Largest mean |error| and 95th percentile of level readings with cards, mm.
LEVEL_LIMITS_MM = (4.0, 9.0)
#: The 95 % interval has to cover this share.
COVERAGE_LIMITS = (0.92, 0.98)
#: Photos of one chamber -> largest (mean |error|, 95th percentile), divisions; the share of
#: honest sets refused; the time of a set over that of its photos.  Of the project's requirements.
SET_LIMITS: dict[int, tuple[float, float]] = {2: (0.08, 0.25), 3: (0.05, 0.15)}
SETS_REFUSED = 0.01
SET_TIME = 1.10
#: Largest remaining slope of error against elevation, as a share of the naive one.
SLOPE_SHARE = 0.05


@dataclass(frozen=True)
class Check:
    """One requirement against what was found.

    ``met`` is None when nothing was found, or too little to tell.
    """

    group: str
    what: str
    limit: str
    found: str
    met: bool | None


def at_most(group: str, what: str, limit: float, found: float | None, form: str) -> Check:
    """A figure that must not be larger than its limit."""
    text = "no reading" if found is None else format(found, form)
    return Check(group, what, "at most " + format(limit, form), text,
                 None if found is None else found <= limit)


def accuracy_checks(group: str, f: Figures, errors: Errors | None, unit: str,
                    mae: float, p95: float) -> list[Check]:
    return [
        at_most(group, f"mean absolute error, {unit}", mae,
                 None if errors is None else errors.mae, ".3f"),
        at_most(group, f"95th percentile of |error|, {unit}", p95,
                 None if errors is None else errors.p95, ".3f"),
        coverage_check(group, f),
    ]


def coverage_check(group: str, f: Figures) -> Check:
    """Outside the range by chance alone (its exact interval reaches in) is not yet "not met"."""
    low, high = COVERAGE_LIMITS
    share, ci = f.coverage.rate, f.coverage.ci
    met: bool | None = None
    found = "no reading"
    if share is not None and ci is not None:
        met = low <= share <= high
        found = f"{share:.1%} of {f.coverage.n}"
        if not met and ci.high >= low and ci.low <= high:
            met, found = None, found + ", too few to tell"
    return Check(group, "truth inside the 95 % interval", f"{low:.0%} to {high:.0%}", found, met)


def no_misread(group: str, f: Figures) -> Check:
    """Wrong by more than a division and not refused: none."""
    return Check(group, "silent misreads", "0", f"{f.misreads.count} of {f.misreads.n}",
                 f.misreads.count == 0 if f.n else None)


def volume_checks(tiers: dict[str, Figures]) -> list[Check]:
    """The table of requirements per tier; a tier the set lacks is left out."""
    out: list[Check] = []
    for tier, (mae, p95, refused) in VOLUME_LIMITS.items():
        f = tiers.get(tier)
        if f is None:
            continue
        out += accuracy_checks(tier, f, f.errors_div, "divisions", mae, p95)
        out.append(at_most(tier, "refused though readable", refused,
                           f.refused_though_readable.rate, ".1%"))
        out.append(no_misread(tier, f))
    f = tiers.get("unreadable")
    if f is not None:
        share = f.refused_as_expected.rate
        out.append(Check("unreadable", "refused", "all",
                         f"{f.refused_as_expected.count} of {f.refused_as_expected.n}",
                         None if share is None else share == 1.0))
        out.append(no_misread("unreadable", f))
    return out


def slope_check(corrected: Slope, naive: Slope) -> Check:
    """What is left of the slope; not yet "not met" where its 95 % interval reaches the limit."""
    limit, share = SLOPE_SHARE * abs(naive.slope), abs(corrected.slope / naive.slope)
    met: bool | None = share <= SLOPE_SHARE
    found = f"{share:.1%}"
    if not met and corrected.slope_ci.low <= limit and corrected.slope_ci.high >= -limit:
        met, found = None, found + ", too few to tell"
    return Check("all", "remaining slope of error against elevation",
                 f"at most {SLOPE_SHARE:.0%} of the naive slope", found, met)


def level_checks(mode: str, f: Figures) -> list[Check]:
    """The requirements on level readings of one mode; accuracy is required with cards."""
    checks = accuracy_checks(mode, f, f.errors, "mm", *LEVEL_LIMITS_MM) if mode == "cards" else (
        [coverage_check(mode, f)] if f.scored else [])
    return [*checks, no_misread(mode, f)]
