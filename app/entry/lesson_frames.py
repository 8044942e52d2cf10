"""Quick pictures of the lesson pages, for a slider that is being dragged.

``/lesson/eye.jpg`` is the chamber from an eye, ``/lesson/bed.svg`` the bedside.  Nothing is kept.
"""

from __future__ import annotations

import math
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from app.ui.lesson.follow import NUMBERS_HEADER
from app.ui.lesson.level import bed_numbers
from app.ui.lesson.parallax import eye_numbers
from vision.errors import InputError
from vision.lesson.level import BedView, level_threshold
from vision.lesson.level_drawing import REACH_CM, asking_drawing, now_drawing
from vision.lesson.parallax import EyeView, eye_reading, lesson_scale
from vision.synthetic.chamber.lesson_picture import QUICK, trace


def _number(request: Request, name: str) -> float:
    try:
        value = float(request.query_params[name])
    except (KeyError, ValueError):
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"The picture needs a number for '{name}'.")
    return value


def _hidden(request: Request) -> bool:
    return request.query_params.get("hidden") == "1"


async def _eye(request: Request) -> Response:
    def make() -> tuple[bytes, list[str]]:
        scale = lesson_scale(_number(request, "bore"))
        level_mm = _number(request, "level_mm")
        if not 0 <= level_mm <= scale.highest_mark.height_mm:
            raise InputError("The liquid of a lesson stands beside the marks.")
        value = float(scale.value_at(level_mm))
        view = EyeView(scale, value, 10 * _number(request, "height"),
                       10 * _number(request, "distance"), _number(request, "contact"),
                       _number(request, "lean"))
        fluid = request.query_params.get("fluid", "")
        return trace(view, fluid, size=QUICK), (
            [] if _hidden(request) else eye_numbers(eye_reading(view)))

    return await _answer(make, "image/jpeg")


async def _bed(request: Request) -> Response:
    def make() -> tuple[bytes, list[str]]:
        numbers = [_number(request, k) for k in ("setting", "pole", "angle", "slid", "bed")]
        setting, pole, angle, slid, bed = numbers
        if not 0 <= angle <= 90 or max(map(abs, numbers)) > 150:
            raise InputError("The bed of the lesson stands between 0 and 90 degrees.")
        view = BedView(setting, request.query_params.get("unit", ""), pole, 30.0, angle, slid, bed)
        now = level_threshold(view)
        if _hidden(request):
            return asking_drawing(view, now, REACH_CM).svg.encode(), []
        return now_drawing(view, now, REACH_CM).svg.encode(), bed_numbers(view, now)

    return await _answer(make, "image/svg+xml")


async def _answer(make, kind: str) -> Response:  # type: ignore[no-untyped-def]
    try:
        body, numbers = await run_in_threadpool(make)
    except InputError as problem:
        return PlainTextResponse(str(problem), 400)
    return Response(body, media_type=kind, headers={
        NUMBERS_HEADER: "|".join(map(quote, numbers)), "Cache-Control": "private, max-age=600"})


ROUTES = (Route("/lesson/eye.jpg", _eye), Route("/lesson/bed.svg", _bed))
