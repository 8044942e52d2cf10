"""The figures of the documents that are worked out anew whenever they are wanted.

Each function makes the text of one marked place and has its name, with ``-`` for ``_``.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from figures.blocks import ROOT

from vision import constants
from vision.accuracy import limits, speed, statistics
from vision.graduations.cylinder_pose import INDEPENDENT_POINTS
from vision.hydrostatics import MM_HG_CODE, column_mm_hg, convert, effective_threshold
from vision.hydrostatics.columns import line_pressure_drop_mm_hg
from vision.imaging import photo
from vision.lesson.level import BedView, level_threshold
from vision.lesson.parallax import EyeView, eye_reading, lesson_scale
from vision.lesson.two_looks import TwoLooks, angle_between_deg, crossing
from vision.meniscus_image.features import FLAT_CHANCE, FLAT_RISE_MM
from vision.meniscus_image.misread_risk import LARGEST_CHANCE, MIRRORED_CHANCE
from vision.optics.refraction import WALL_INDEX, WALL_INDEX_SD
from vision.parameters import (
    COUNTED_RESIDUAL,
    MISFIT_DOUBT_DEG,
    UNLIKE_DOUBTED_SHARE,
    UNLIKE_SHARE,
)
from vision.reading import VolumeReading
from vision.scale_file.scale import load_scale
from vision.synthetic.chamber.meniscus import CAPILLARY_LENGTH_MM
from vision.synthetic.chamber.tracer import LEAST_WEIGHT
from vision.volume import estimate

#: The chamber of the educator's figures: bore 30 mm, 33 mL, the eye 35 cm away.
LEVEL_ML, BORE_MM, DISTANCE_MM, CONTACT_DEG = 33.0, 30.0, 350.0, 60.0
EYES_MM = {"above": 120.0, "level": 0.0, "below": -120.0}
SECOND_EYE_MM = {"looks-apart": 40.0, "looks-near": 105.0}
CM = "cm[H2O]"

MADE: dict[str, Callable[[], str]] = {}


def figure(make: Callable[[], str]) -> Callable[[], str]:
    """Enter a figure under its name."""
    kept = cache(make)
    MADE[make.__name__.replace("_", "-")] = kept
    return kept


# ------------------------------------------------------------------ limits and constants
@figure
def photo_limits() -> str:
    return (f"{photo.MAX_PIXELS / 1e6:.0f} megapixels and "
            f"{photo.MAX_FILE_BYTES / 2**20:.0f} MB")


@figure
def speed_limits() -> str:
    return (f"at most {speed.MOST_TIMES_DECODE:g} times the decode, "
            f"{speed.MOST_MEMORY_MB:g} MB, {speed.MOST_IMPORT_S:g} s")


@figure
def pictures_for_never() -> str:
    return (f"{limits.NEVER_SHARE:.0%}".replace("%", " %") + ", which takes "
            f"{statistics.trials_to_settle(0.0, 0.0, limits.NEVER_SHARE)} pictures of a tier")


@figure
def answer_bytes() -> str:
    from app.entry.classroom import _MOST_BYTES

    return str(_MOST_BYTES)


@figure
def most_learners() -> str:
    from app.classroom.store import MOST_LEARNERS

    return str(MOST_LEARNERS)


@figure
def class_codes() -> str:
    from app.classroom.store import _SIGNS

    return f"{len(_SIGNS) ** 5 / 1e6:.0f} million"


@figure
def budget_terms() -> str:
    return "\n".join((
        "| term | what may be wrong | how large |", "|---|---|---|",
        f"| {estimate.MENISCUS_TERM} | where in the picture the front contact line runs; how far "
        "the lowest point lies below it, which depends on the wall's wetting, which nobody knows; "
        "and, where two places may be the edge, which of them is | from the picture, as a "
        "probability over heights |",
        "| fit of the marks | the ladder of marks fitted to the picture | the residuals of the fit "
        f"over the root of {INDEPENDENT_POINTS:g} independent points |",
        f"| print of the marks | marks are not printed perfectly | {estimate._PRINT_SD_MM:g} mm "
        "(common practice, no source) |",
        "| elevation of the view | how steeply the camera looked; and whether the photo is a whole "
        "one | from the fit's covariance, usually under a degree; more where a part of a larger "
        f"photo explains the marks as well, and {MISFIT_DOUBT_DEG:g} degrees more where the marks "
        f"lie off by over {100 * COUNTED_RESIDUAL:g} % of their distance |",
        f"| refractive index of the wall | which plastic it is | {WALL_INDEX:g}, give or take "
        f"{WALL_INDEX_SD:g}: clear plastics run from "
        f"{constants.refractive_index('PMMA').value:.2f} to "
        f"{constants.refractive_index('polystyrene').value:.2f} |",
        "| thickness of the wall | the wall against the scale file | "
        f"{estimate._WALL_SD_MM:g} mm |",
        "| lean of the chamber | a lean that the picture does not show | "
        f"{estimate._LEAN_SD_DEG:g} degrees, times the bore radius |",
        "| pictures unlike those that taught | chamber, light and camera of the photo may be of a "
        f"kind that the networks have not met | {UNLIKE_SHARE:g} of all terms above together where "
        "the place of the surface looks as it did in teaching, "
        f"{UNLIKE_DOUBTED_SHARE:g} elsewhere |",
        "| scale tolerance | only where the scale file states one | the tolerance over the root "
        "of three, as a rectangle |"))


@figure
def unlike_shares() -> str:
    return f"{UNLIKE_SHARE:g} and {UNLIKE_DOUBTED_SHARE:g} of all other terms together"


@figure
def threshold_sources() -> str:
    csf, saline = constants.CSF_DENSITY_37C, constants.SALINE_DENSITY_20C
    return "\n".join((
        "| quantity | value | source |", "|---|---|---|",
        f"| conventional centimetre of water | {constants.CM_H2O.value} Pa | NIST SP 811 (2008), "
        "appendix B |",
        f"| conventional millimetre of mercury | {constants.MM_HG.value} Pa | NIST SP 811 (2008), "
        "appendix B |",
        f"| cerebrospinal fluid, 37 degC | {csf.value / 1000:.5f} g/mL (SD "
        f"{(csf.standard_uncertainty or 0) / 1000:.5f}) | Can J Anaesth 1998, PMID 9597201 |",
        "| water, 0 to 40 degC | formula | Tanaka et al., Metrologia 2001;38:301 |",
        f"| saline 0.9 % (9 g/L), 20 degC | {saline.value / 1000:.4f} g/mL | Poradnik "
        "fizykochemiczny, WNT 1974, between water and 1 % |"))


@figure
def density_and_gravity() -> str:
    """Share of a threshold, standard uncertainty of what the fluid and the place add."""
    terms = effective_threshold(100.0, CM, 0.0, offset_interval_cm=(0.0, 0.0)).budget
    both = sum(t.standard_uncertainty**2 for t in terms
               if t.term in ("density of the fluid", "local gravity")) ** 0.5
    return f"{both:.1f} %"


@figure
def mm_hg_in_cm() -> str:
    return f"{convert(1.0, MM_HG_CODE, CM):.5f}"


@figure
def three_cm_too_low() -> str:
    return f"3 cmH2O ({column_mm_hg(3.0):.1f} mmHg)"


@figure
def ten_mm_hg() -> str:
    return f"{convert(10.0, MM_HG_CODE, CM):.1f} cmH2O"


@figure
def lost_in_the_line() -> str:
    return f"{line_pressure_drop_mm_hg(20.0):.1f} mmHg at 20 mL/h"


@figure
def capillary_length() -> str:
    return f"{constants.WATER_CAPILLARY_LENGTH.value:.2f} mm"


@figure
def scene_capillary_length() -> str:
    return f"{CAPILLARY_LENGTH_MM:g} mm"


@figure
def least_light() -> str:
    return f"{100 * LEAST_WEIGHT:g} %"


@figure
def flat_chance() -> str:
    return (f"{FLAT_CHANCE:.0%}".replace("%", " %") + " stays that there is none: the surface then "
            f"lies within {FLAT_RISE_MM:g} mm of the line")


@figure
def misread_chances() -> str:
    return f"1 in {1 / LARGEST_CHANCE:.0f} (above 1 in {1 / MIRRORED_CHANCE:.0f}"


# ------------------------------------------------------------------ two photos of the skills lab
@cache
def bench(photo_name: str) -> VolumeReading:
    """A sample photo, read."""
    from vision.imaging.photo import load_photo
    from vision.volume.read import read_volume

    return read_volume(load_photo(ROOT / "sample_images" / photo_name), load_scale("quay-60"))


LEVEL_PHOTO, ABOVE_PHOTO = "bench-1-pink.jpg", "bench-4-from-above.jpg"


@figure
def budget_level_reading() -> str:
    r = bench(LEVEL_PHOTO)
    low, high = r.interval or (0.0, 0.0)
    return f"{r.value:.1f} {r.unit} ({low:.1f} to {high:.1f})"


@figure
def budget_level_elevation() -> str:
    return f"{bench(LEVEL_PHOTO).elevation_deg:.1f} degrees"


@figure
def budget_above_elevation() -> str:
    return f"{bench(ABOVE_PHOTO).elevation_deg:.0f} degrees"


@figure
def budget_wider() -> str:
    def width(r: VolumeReading) -> float:
        low, high = r.interval or (0.0, 0.0)
        return high - low

    return f"{width(bench(ABOVE_PHOTO)) / width(bench(LEVEL_PHOTO)):.1f} times"


@figure
def budget_naive() -> str:
    r = bench(ABOVE_PHOTO)
    return f"{(r.naive_value or 0) - (r.value or 0):.1f} mL, as many divisions,"


# ------------------------------------------------------------------ the lessons
def eye(height_mm: float) -> EyeView:
    """The chamber of all figures of the parallax lesson."""
    return EyeView(lesson_scale(BORE_MM), LEVEL_ML, height_mm, DISTANCE_MM, CONTACT_DEG)


@figure
def lesson_eyes() -> str:
    said = {name: eye_reading(eye(height)).error for name, height in EYES_MM.items()}
    return "\n".join((
        f"From {EYES_MM['above'] / 10:.0f} cm above, from the level, and from "
        f"{-EYES_MM['below'] / 10:.0f} cm below, {DISTANCE_MM / 10:.0f} cm away; the level stands "
        f"at {LEVEL_ML:.1f} mL:", "",
        "| above | level | below |", "|---|---|---|",
        "| ![The chamber from above: the surface shows as an ellipse behind the marks]"
        "(figures/eye-above.jpg) | ![The chamber from the height of the level: the surface is a "
        "line](figures/eye-level.jpg) | ![The chamber from below: the surface is seen through the "
        "liquid](figures/eye-below.jpg) |",
        f"| ![Sight line from above, read {said['above']:.1f} mL too much]"
        "(figures/sight-above.svg) | ![Sight line along the surface, no error]"
        f"(figures/sight-level.svg) | ![Sight line from below, read {-said['below']:.1f} mL too "
        "little](figures/sight-below.svg) |"))


@figure
def lesson_two_looks() -> str:
    found = {name: crossing(TwoLooks(eye(EYES_MM["above"]), second))
             for name, second in SECOND_EYE_MM.items()}

    def to(interval: tuple[float, float]) -> str:
        return f"{interval[0]:.1f} to {interval[1]:.1f} mL"

    apart, near = found["looks-apart"], found["looks-near"]
    lower = (EYES_MM["above"] - SECOND_EYE_MM["looks-apart"]) / 10
    return "\n".join((
        f"The bars say what the level may be, from the first look alone ({to(apart.alone)}) and "
        "from both, each read to a tenth of a division:", "",
        f"| {lower:.0f} cm lower: {to(apart.both)} | from nearly the same place: "
        f"{to(near.both)} |", "|---|---|",
        "| ![Two sight lines that open wide cross sharply in the level](figures/looks-apart.svg) | "
        "![Two sight lines close together cross at "
        f"{angle_between_deg(near):.0f} degrees: the second tells little](figures/looks-near.svg) "
        "|"))


@figure
def lesson_level() -> str:
    before, after = (level_threshold(BedView(10, CM, **more))  # type: ignore[arg-type]
                     for more in ({}, {"bed_to_deg": 45.0}))
    return "\n".join((
        "| levelled | after |", "|---|---|",
        f"| ![As levelled: opens at {before.value_cm_h2o:.1f} cmH2O](figures/level-before.svg) | "
        f"![After: the system hangs {abs(after.offset_cm):.1f} cm too low](figures/level-after.svg)"
        " |"))


@figure
def mm_hg_for_a_learner() -> str:
    return f"{convert(1.0, MM_HG_CODE, CM):.2f} cm"
