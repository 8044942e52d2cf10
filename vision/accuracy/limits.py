"""The accuracy that the reader has to reach, and whether a set shows that it does."""

from __future__ import annotations

from dataclasses import dataclass, replace

from vision.accuracy.figures import Errors, Figures, Rate, other
from vision.accuracy.statistics import MOST_TRIALS, Slope, trials_to_settle, within

#: Tier -> largest (mean |error|, 95th percentile, share refused though readable),
#: errors in divisions.  Of the project's requirements.
VOLUME_LIMITS: dict[str, tuple[float, float, float]] = {
    "easy": (0.10, 0.25, 0.01),
    "typical": (0.12, 0.35, 0.02),
    "hard": (0.25, 0.70, 0.12),
}
#: Largest mean |error| and 95th percentile of level readings with cards, mm.
LEVEL_LIMITS_MM = (3.0, 8.0)
#: The 95 % interval has to cover this share.
COVERAGE_LIMITS = (0.92, 0.98)
#: Photos of one chamber -> largest (mean |error|, 95th percentile), divisions; the share of
#: honest sets refused; the time of a set over that of its photos.  Of the project's requirements.
SET_LIMITS: dict[int, tuple[float, float]] = {2: (0.08, 0.25), 3: (0.05, 0.15)}
SETS_REFUSED = 0.01
#: What must never happen counts as shown when its rate is below this, which takes some 370
#: trials without one.  Our choice: as rare as the refusals of easy pictures have to be.
NEVER_SHARE = 0.01
SET_TIME = 1.10
#: Largest remaining slope of error against elevation, as a share of the naive one.
SLOPE_SHARE = 0.05


@dataclass(frozen=True)
class Check:
    """One requirement against what was found.

    ``met`` is None when nothing was found, or too little to tell; ``doubt`` says what would.
    """

    group: str
    what: str
    limit: str
    found: str
    met: bool | None
    doubt: str = ""


def at_most(group: str, what: str, limit: float, found: float | None, form: str) -> Check:
    """A figure that must not be larger than its limit."""
    text = "no reading" if found is None else format(found, form)
    return Check(group, what, "at most " + format(limit, form), text,
                 None if found is None else found <= limit)


def accuracy_checks(group: str, f: Figures, errors: Errors | None, unit: str,
                    mae: float, p95: float, counted: str = "pictures") -> list[Check]:
    return [
        at_most(group, f"mean absolute error, {unit}", mae,
                 None if errors is None else errors.mae, ".3f"),
        at_most(group, f"95th percentile of |error|, {unit}", p95,
                 None if errors is None else errors.p95, ".3f"),
        coverage_check(group, f, counted),
    ]


def share_check(group: str, what: str, limit: str, found: Rate, least: float, most: float,
                unit: str = "pictures") -> Check:
    """A share that has to lie within two limits, judged by its exact 95 % interval.

    The whole interval has to lie within, or outside, to tell; else the check says how many
    ``unit`` would, if the share stayed as it is.
    """
    if found.rate is None or found.ci is None:
        return Check(group, what, limit, "no reading", None)
    met = within(found.ci, least, most)
    said = f"{found.count} of {found.n}" + (f" ({found.rate:.1%})" if found.count else "")
    if met is not None:
        return Check(group, what, limit, said, met)
    n = trials_to_settle(found.rate, least, most)
    return Check(group, what, limit, said, None, "too few to tell: " + (
        f"more than {MOST_TRIALS:,} {unit} would" if n is None else f"about {n:,} {unit} would"))


def coverage_check(group: str, f: Figures, unit: str = "pictures") -> Check:
    """How often the 95 % interval holds the truth."""
    low, high = COVERAGE_LIMITS
    return share_check(group, "truth inside the 95 % interval", f"{low:.0%} to {high:.0%}",
                       f.coverage, low, high, unit)


def refusal_check(group: str, f: Figures, most: float, unit: str = "pictures") -> Check:
    """How many that could have been read were refused."""
    return share_check(group, "refused though readable", f"at most {most:.1%}",
                       f.refused_though_readable, 0.0, most, unit)


def never_check(group: str, what: str, limit: str, bad: Rate, unit: str) -> Check:
    """Of what must never happen: one is enough to fail, and none of a few shows little."""
    if bad.count:
        return Check(group, what, limit, f"{bad.count} of {bad.n}", False)
    return share_check(group, what, limit, bad, 0.0, NEVER_SHARE, unit)


def no_misread(group: str, f: Figures, unit: str = "pictures") -> Check:
    """Wrong by more than a division and not refused: none."""
    return never_check(group, "silent misreads", f"none, shown below {NEVER_SHARE:.0%}",
                       f.misreads, unit)


def all_refused(group: str, bad: Rate, unit: str = "pictures") -> Check:
    """What cannot be read is to be refused; ``bad`` counts what was not."""
    check = never_check(group, "refused", f"all, shown above {1 - NEVER_SHARE:.0%}", bad, unit)
    return replace(check, found=f"{bad.n - bad.count} of {bad.n}" if bad.n else check.found)


def volume_checks(tiers: dict[str, Figures]) -> list[Check]:
    """The table of requirements per tier; a tier the set lacks is left out."""
    out: list[Check] = []
    for tier, (mae, p95, refused) in VOLUME_LIMITS.items():
        f = tiers.get(tier)
        if f is None:
            continue
        out += accuracy_checks(tier, f, f.errors_div, "divisions", mae, p95)
        out.append(refusal_check(tier, f, refused))
        out.append(no_misread(tier, f))
    f = tiers.get("unreadable")
    if f is not None:
        out.append(all_refused("unreadable", other(f.refused_as_expected)))
        out.append(no_misread("unreadable", f))
    return out


def slope_check(corrected: Slope, naive: Slope) -> Check:
    """What is left of the slope; not yet "not met" where its 95 % interval reaches the limit."""
    limit, share = SLOPE_SHARE * abs(naive.slope), abs(corrected.slope / naive.slope)
    met: bool | None = share <= SLOPE_SHARE
    found = f"{share:.1%}"
    if not met and corrected.slope_ci.low <= limit and corrected.slope_ci.high >= -limit:
        met = None
    return Check("all", "remaining slope of error against elevation",
                 f"at most {SLOPE_SHARE:.0%} of the naive slope", found, met,
                 "too few to tell" if met is None else "")


def level_checks(mode: str, f: Figures) -> list[Check]:
    """The requirements on level readings of one mode; accuracy is required with cards."""
    checks = accuracy_checks(mode, f, f.errors, "mm", *LEVEL_LIMITS_MM) if mode == "cards" else (
        [coverage_check(mode, f)] if f.scored else [])
    return [*checks, no_misread(mode, f)]
