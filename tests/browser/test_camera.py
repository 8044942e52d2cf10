"""The camera of the page in a real browser: a drawn chamber before a fake camera, and a sensor
whose values are set through the browser's own tools, from permission to confirmed record."""

from __future__ import annotations

import json
import math
import os
import re
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from playwright.sync_api import expect
from serving import ALONE, FEW_PROCESSES, PHONE, Served, at_rest, live, new_context, too_small
from test_chamber import answer_all, confirm, read_first

from app.records import Store
from vision.imaging.photo import load_photo
from vision.synthetic.bedside import level_scene

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
LABELS = [json.loads(x) for x in (SAMPLES / "labels.jsonl").read_text().splitlines() if x.strip()]
EASY = next(x for x in LABELS if x["tier"] == "easy")
STEEP = next(x for x in LABELS if x["tier"] == "hard" and x["elevation_deg"] > 15)
G = 9.80665
ALLOWED = ["camera", "accelerometer", "gyroscope"]
#: Upright, and the camera looks up by 0.7 degrees: where the first demo photo was drawn from.
UPRIGHT = (0.0, G, -0.12)
#: The same phone nodding down by 20 degrees, which no hanging chamber in that picture allows.
NODDING = (0.0, G * math.cos(math.radians(20)), G * math.sin(math.radians(20)))


def jpeg_of(picture, quality: int = 92) -> bytes:  # type: ignore[no-untyped-def]
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def demo(label: dict):  # type: ignore[no-untyped-def]
    """The demo photo of a label, of a size that a fake camera shows thirty times a second."""
    return cv2.resize(cv2.imread(str(SAMPLES / label["file"])), (960, 1280),
                      interpolation=cv2.INTER_AREA)


@pytest.fixture(scope="module")
def with_camera(browser, chromium: str, tmp_path_factory: pytest.TempPathFactory):
    """Opens a browser whose fake camera shows a film (Motion JPEG): by default a demo photo.

    A browser without windows has nobody whom it could ask for the camera; newer ones (156)
    refuse it then, so that they are told how the person answers.
    """
    folder, opened = tmp_path_factory.mktemp("films"), []

    def start(label: dict, film: bytes = b"", allow: bool = True):  # type: ignore[no-untyped-def]
        made = folder / f"{len(opened)}.mjpeg"
        made.write_bytes(film or 2 * jpeg_of(demo(label)))
        flags = [ALONE, "--disable-dev-shm-usage", *FEW_PROCESSES,
                 "--use-fake-device-for-media-stream",
                 f"--use-file-for-fake-video-capture={made}",
                 f"--use-fake-ui-for-media-stream{'' if allow else '=deny'}",
                 *(["--no-sandbox"] if os.geteuid() == 0 else [])]
        opened.append(browser.browser_type.launch(executable_path=chromium, args=flags))
        return opened[-1]

    yield start
    for one in opened:
        one.close()


@pytest.fixture(scope="module")
def easy(with_camera):  # type: ignore[no-untyped-def]
    return with_camera(EASY)


@pytest.fixture
def visit(served: Served) -> Iterator[object]:
    """A page of a browser, its sensor set: (browser, acceleration or None)."""
    yield from visitor(served)


#: Profiles that one test after the other uses, so that scripts are compiled once.
_PROFILES: dict[tuple[object, ...], object] = {}


def visitor(served: Served) -> Iterator[object]:
    """As the fixture, for a page that several tests look at.  Each finds nothing stored."""
    pages = []

    def go(browser, acceleration=UPRIGHT, path="/chamber", allowed=ALLOWED, before=""):  # type: ignore[no-untyped-def]
        look = (browser, *allowed)
        if look not in _PROFILES:
            _PROFILES[look] = new_context(browser, *PHONE.values(), "light",
                                          permissions=list(allowed))
        page = _PROFILES[look].new_page()  # type: ignore[attr-defined]
        pages.append(page)
        page.set_default_timeout(60_000)
        if before:
            page.add_init_script(before)
        if acceleration is not None:
            sensor(page, acceleration)
        page.goto(served.url + path)
        return page

    yield go
    for page in pages:
        page.evaluate("localStorage.clear()")
        page.context.clear_cookies()
        page.close()


_TOOLS: dict[object, object] = {}


def sensor(page, acceleration: tuple[float, float, float]) -> None:
    """What the phone's sensors tell from now on (DevTools protocol, Emulation)."""
    tools = _TOOLS.get(page)
    begin = tools is None
    if begin:
        tools = _TOOLS[page] = page.context.new_cdp_session(page)
    for kind in ("accelerometer", "linear-acceleration", "gyroscope"):
        x, y, z = acceleration if kind == "accelerometer" else (0.0, 0.0, 0.0)
        if begin:
            tools.send("Emulation.setSensorOverrideEnabled", {"enabled": True, "type": kind})
        tools.send("Emulation.setSensorOverrideReadings", {
            "type": kind, "reading": {"xyz": {"x": x, "y": y, "z": z}}})


def frame(page):  # type: ignore[no-untyped-def]
    return page.frame_locator("iframe[title*='camera']")


def script(page):  # type: ignore[no-untyped-def]
    """The frame itself, to run script in."""
    frame(page).locator("body").wait_for()
    return next(f for f in page.frames if "/component/" in f.url and "camera" in f.url)


def choose_scale(page, name: str) -> None:
    at_rest(page)  # a press while the page is still being drawn is lost
    page.get_by_text("Choose the scale now").click()
    page.get_by_text(name, exact=True).first.click()
    expect(page.get_by_text("Choose the scale now")).to_have_count(0)


def unfold(page) -> None:
    at_rest(page)
    page.get_by_text("Camera of this page").click()


def open_camera(page) -> None:
    unfold(page)
    frame(page).get_by_role("button", name="Open the camera").click()
    expect(frame(page).get_by_role("button", name="Take the photos")).to_be_visible()


def test_from_permission_to_a_confirmed_record(easy, visit, served: Served) -> None:
    page = visit(easy)
    choose_scale(page, "quay-60")
    open_camera(page)
    inside = frame(page)
    expect(inside.locator("#hint")).to_have_text("Good: hold still and take the photos.")
    expect(inside.locator("#tilt")).to_have_text("Phone looks 1\u00b0 up.")
    assert "mL" not in inside.locator("body").inner_text(), "the person reads first"
    small = script(page).evaluate("""() => [...document.querySelectorAll('button')]
        .filter(b => b.offsetParent && b.getBoundingClientRect().height < 44)
        .map(b => b.textContent)""")
    assert small == [] and too_small(page) == []
    inside.get_by_role("button", name="Take the photos").click()
    expect(page.get_by_text("Next: your own reading")).to_be_visible()
    expect(page.locator("iframe[title*='camera']")).to_have_count(0)
    read_first(page, "23.4")
    shown = float(page.locator(".cs-machine .cs-value").inner_text().split()[0])
    assert abs(shown - EASY["true_value"]) <= 0.5
    assert "do not agree on the vertical" not in page.content()
    at_rest(page)
    live(page).get_by_role("button", name="Take the tool's").click()
    expect(live(page).get_by_label("Value to confirm in mL")).to_have_value(f"{shown:.1f}")
    answer_all(page)
    confirm(page, "QUAY-CAM")
    expect(page.get_by_text("The photo has been dropped.")).to_be_visible()
    (entry,) = Store.open(str(served.data)).entries(bed="QUAY-CAM")
    assert abs(float(entry.confirmed_value) - shown) < 0.06


def test_what_the_sensor_says_reaches_the_reading(easy, visit) -> None:
    """A direction that the picture contradicts is named, so it was weighed."""
    page = visit(easy, NODDING)
    choose_scale(page, "quay-60")
    open_camera(page)
    expect(frame(page).locator("#tilt")).to_have_text("Phone looks 20\u00b0 down.")
    expect(frame(page).locator("#hint")).to_have_text("Good: hold still and take the photos.")
    frame(page).get_by_role("button", name="Take the photos").click()
    expect(page.get_by_text("Next: your own reading")).to_be_visible()
    read_first(page, "23.4")
    expect(page.get_by_text("do not agree on the vertical").first).to_be_visible()


def test_a_sensor_of_the_other_sign_gives_the_same_direction(easy, visit) -> None:
    page = visit(easy, tuple(-v for v in NODDING))
    open_camera(page)
    expect(frame(page).locator("#tilt")).to_have_text("Phone looks 20\u00b0 down.")


def test_too_high_is_said_in_centimetres(with_camera, visit) -> None:
    page = visit(with_camera(STEEP), (0.0, G * 0.94, G * 0.34))
    choose_scale(page, "quay-60")
    open_camera(page)
    hint = frame(page).locator("#hint")
    expect(hint).to_have_text(re.compile(r"Lower the phone by about \d+ cm\."))
    way = STEEP["distance_mm"] / 10 * math.sin(math.radians(STEEP["elevation_deg"]))
    assert 0.5 < int(hint.inner_text().split()[-2]) / way < 2.0


def test_calibrated_once_and_kept_in_this_browser(easy, visit) -> None:
    """A sensor off by 2 and 1 degrees along a door frame that leans itself.

    In tenths of a metre per second squared, to which this browser rounds.
    """
    page = visit(easy, (0.4, 9.8, 0.1))
    open_camera(page)
    inside = frame(page)
    expect(inside.locator("#tilt")).to_contain_text("Phone")
    inside.get_by_role("button", name="Calibrate the tilt").click()
    inside.get_by_role("button", name="Measure").click()
    expect(inside.locator("#bench-words")).to_contain_text("turn it round")
    sensor(page, (0.2, 9.8, 0.3))
    inside.get_by_role("button", name="Measure").click()
    expect(inside.locator("#bench-words")).to_contain_text("Calibrated")
    kept = json.loads(script(page).evaluate("localStorage.getItem('countersight-tilt')"))
    assert kept == pytest.approx([0.3 / 9.8, 0.0, 0.2 / 9.8], abs=1e-3)
    sensor(page, (0.3, 9.8, 0.2))
    expect(inside.locator("#tilt")).to_have_text("Phone level (calibrated).")
    page.reload()
    open_camera(page)
    sensor(page, (0.3, 9.8, 0.2))
    expect(frame(page).locator("#tilt")).to_have_text("Phone level (calibrated).")


@pytest.mark.parametrize(("before", "why"), [
    ("Object.defineProperty(window, 'isSecureContext', {value: false})",
     "came without encryption"),
    ("Object.defineProperty(Navigator.prototype, 'mediaDevices', {value: undefined})",
     "gives its camera to no page"),
])
def test_where_no_camera_can_be_one_sentence_says_why_and_the_picker_stands_beside(
        easy, visit, before: str, why: str) -> None:
    page = visit(easy, before=before)
    unfold(page)
    expect(frame(page).locator("#why")).to_contain_text(why)
    expect(frame(page).locator("#why")).to_contain_text("You can choose a photo instead.")
    expect(frame(page).get_by_role("button", name="Open the camera")).to_be_disabled()
    expect(page.locator("input[type=file]").first).to_be_attached()


def test_a_camera_or_a_sensor_that_is_not_allowed_is_said(easy, with_camera, visit) -> None:
    refused = visit(with_camera(EASY, allow=False), allowed=["geolocation"])
    unfold(refused)
    frame(refused).get_by_role("button", name="Open the camera").click()
    expect(frame(refused).locator("#why")).to_contain_text("The camera was not allowed")
    blind = visit(easy, allowed=["camera"])
    open_camera(blind)
    expect(frame(blind).locator("#tilt")).to_contain_text("The tilt of the phone was not allowed.")


@pytest.mark.parametrize(("name", "why"), [
    ("NotFoundError", "No camera was found"), ("NotReadableError", "Another app holds the camera"),
    ("AbortError", "The camera cannot be used")])
def test_a_camera_that_does_not_come_is_said(easy, visit, name: str, why: str) -> None:
    page = visit(easy, before="MediaDevices.prototype.getUserMedia = async () => {"
                              f" throw new DOMException('', '{name}'); }}")
    unfold(page)
    frame(page).get_by_role("button", name="Open the camera").click()
    expect(frame(page).locator("#why")).to_contain_text(why)
    expect(frame(page).get_by_role("button", name="Open the camera")).to_be_enabled()


#: The live picture comes when ``window.late()`` is called; photos are frames of it.
LATE = """delete window.ImageCapture;
    const own = Object.getOwnPropertyDescriptor(HTMLMediaElement.prototype, 'srcObject');
    Object.defineProperty(HTMLVideoElement.prototype, 'srcObject', {get: own.get, set(stream) {
        if (stream) window.late = () => own.set.call(this, stream);
        else own.set.call(this, stream); }});"""


def test_a_press_before_the_first_picture_waits_for_it(easy, visit) -> None:
    page = visit(easy, before=LATE)
    open_camera(page)
    hint = frame(page).locator("#hint")
    frame(page).get_by_role("button", name="Take the photos").click()
    expect(hint).to_have_text(re.compile("The camera is starting"))
    script(page).evaluate("window.late()")
    expect(page.get_by_text("Next: choose the scale.")).to_be_visible()


def test_a_picture_that_never_comes_is_said_and_can_be_asked_for_again(easy, visit) -> None:
    page = visit(easy, before=LATE)
    open_camera(page)
    frame(page).get_by_role("button", name="Take the photos").click()
    expect(frame(page).locator("#hint")).to_have_text(
        re.compile("No picture has come from the camera"))
    expect(frame(page).get_by_role("button", name="Take the photos")).to_be_enabled()
    script(page).evaluate("window.late()")
    frame(page).get_by_role("button", name="Take the photos").click()
    expect(page.get_by_text("Next: choose the scale.")).to_be_visible()


#: The camera's track, for what happens to it outside the page.
HELD = """const asked = MediaDevices.prototype.getUserMedia;
    MediaDevices.prototype.getUserMedia = async function (what) {
        const stream = await asked.call(this, what);
        [window.held] = stream.getVideoTracks();
        return stream; };"""


def test_a_camera_taken_away_is_said_and_can_be_opened_again(easy, visit) -> None:
    """Media Capture and Streams (W3C), 4.3.1: a track ends where its source goes, and is muted
    while the source gives nothing; the last picture then stands and is not of now."""
    page = visit(easy, before=HELD + NOTED)
    open_camera(page)
    inside = frame(page)
    script(page).evaluate("""() => { Object.defineProperty(window.held, 'muted', {value: true,
        configurable: true}) }""")
    inside.get_by_role("button", name="Take the photos").click()
    expect(inside.locator("#hint")).to_have_text(re.compile("No picture has come from the camera"))
    assert page.evaluate("window.handed") is None
    script(page).evaluate("""() => { window.held.stop();
        window.held.dispatchEvent(new Event('ended')); }""")
    expect(inside.locator("#why")).to_contain_text("The camera was taken away")
    inside.get_by_role("button", name="Open the camera").click()
    expect(inside.locator("#why")).to_be_hidden()
    inside.get_by_role("button", name="Take the photos").click()
    expect(page.get_by_text("Next: choose the scale.")).to_be_visible()


def test_without_a_sensor_photos_are_taken_all_the_same(easy, visit) -> None:
    page = visit(easy, None)
    open_camera(page)
    expect(frame(page).locator("#tilt")).to_contain_text("does not tell how it is tilted")
    expect(frame(page).get_by_role("button", name="Calibrate the tilt")).to_be_hidden()
    frame(page).get_by_role("button", name="Take the photos").click()
    expect(page.get_by_text("Next: choose the scale.")).to_be_visible()


def handed_over(page) -> list[dict]:
    """What the frame said of each photo that it handed to the page."""
    page.wait_for_function("() => window.handed")
    return page.evaluate("""() => { const b = window.handed, n = new DataView(
        b.buffer, b.byteOffset).getUint32(0);
        return JSON.parse(new TextDecoder().decode(b.slice(4, 4 + n))).photos }""")


NOTED = """window.addEventListener('message', (e) => {
    if (e.data?.type === 'streamlit:setComponentValue') window.handed = e.data.value; })"""


def test_frames_of_the_heights_passed_through_go_with_the_burst(with_camera, visit) -> None:
    """First seen from above, then level: the film is four seconds of each, over and over."""
    both = [jpeg_of(demo(x), 80) for x in (STEEP, EASY)]
    page = visit(with_camera(EASY, b"".join(120 * x for x in both)), before=NOTED)
    choose_scale(page, "quay-60")
    open_camera(page)
    hint = frame(page).locator("#hint")
    expect(hint).to_have_text(re.compile("Lower the phone"))
    expect(hint).to_have_text("Good: hold still and take the photos.")
    frame(page).get_by_role("button", name="Take the photos").click()
    photos = handed_over(page)
    # The sharpest two of the press, and one from each other height.
    assert len(photos) >= 3 and all(p["bytes"] > 10_000 and p["down"] for p in photos)


def test_a_level_check_from_the_live_picture(with_camera, visit) -> None:
    """A drawn room: both cards found, the height of the lens drawn, down told to the reading."""
    data, label = level_scene(301, 24, "cards")
    x, y, z = label["gravity_camera"]
    page = visit(with_camera(label, 2 * jpeg_of(load_photo(data).rgb[..., ::-1])),
                 (-x * G, y * G, z * G), "/level", before=NOTED)
    open_camera(page)
    inside = frame(page)
    expect(inside.locator("#hint")).to_have_text("Both cards seen: hold still and take the photos.")
    nod = round(math.degrees(math.asin(z)))
    expect(inside.locator("#tilt")).to_contain_text(
        f"looks {abs(nod)}\u00b0 {'down' if nod > 0 else 'up'}" if nod else "Phone")
    # Where the drawn line crosses the middle of the picture, as a share of its height.  In the
    # room every point as high as the lens lies there: f tan(nod) above the middle.  It is drawn
    # whenever the sensor has just spoken.
    drawn = script(page).wait_for_function("""() => { const o = document.getElementById('over'),
        v = document.getElementById('video'), k = Math.min(o.width / v.videoWidth,
        o.height / v.videoHeight), top = (o.height - k * v.videoHeight) / 2,
        d = o.getContext('2d').getImageData(0, 0, o.width, o.height).data, rows = [];
        for (let y = 0; y < o.height; y++) for (let x = 0.4 * o.width | 0; x < 0.6 * o.width; x++) {
          const i = 4 * (y * o.width + x);
          if (d[i + 3] > 200 && d[i] > 240 && d[i + 1] > 240 && d[i + 2] > 240) rows.push(y); }
        return rows.length
          && (rows.reduce((s, y) => s + y, 0) / rows.length - top) / (k * v.videoHeight) }""")
    focal = 26.0 / 43.27 * math.hypot(label["width"], label["height"])
    assert drawn.json_value() == pytest.approx(0.5 - focal * z / y / label["height"], abs=0.02)
    inside.get_by_role("button", name="Take the photos").click()
    (first, *_) = handed_over(page)
    assert first["down"] == pytest.approx(label["gravity_camera"], abs=0.01)
    said = page.get_by_text(re.compile(r"[\d.]+ cm too (low|high) \(")).first
    expect(said).to_be_visible()
    off, way = re.search(r"([\d.]+) cm too (low|high)", said.inner_text()).groups()
    assert float(off) * (1 if way == "high" else -1) == pytest.approx(
        label["true_offset_mm"] / 10, abs=1.5)
    expect(page.get_by_text("phone sensor").first).to_be_attached()


# --- the sums of the frame's own scripts, in the browser that runs them

@pytest.fixture(scope="module")
def sums(easy, served: Served):  # type: ignore[no-untyped-def]
    """Runs script in one frame for all of them: the sums keep nothing."""
    visits = visitor(served)
    page = next(visits)(easy)  # type: ignore[operator]
    unfold(page)
    inside = script(page)
    yield lambda code: inside.evaluate(
        f"""async () => {{ const d = await import('./down.js'), f = await import('./frames.js');
        {code} }}""")
    next(visits, None)


@pytest.mark.parametrize(("device", "turned", "camera"), [
    # Up in device axes (W3C), the screen's angle, down in the camera's frame.
    ((0, 1, 0), 0, (0, 1, 0)),        # upright
    ((0, 0.8, 0.6), 0, (0, 0.8, 0.6)),  # leaning back over the chamber: looks down
    ((1, 0, 0), 90, (0, 1, 0)),       # turned to the left: its right side is up
    ((-1, 0, 0), 270, (0, 1, 0)),     # turned to the right
    ((0.6, 0.8, 0), 0, (-0.6, 0.8, 0)),
])
def test_device_axes_become_the_cameras(sums, device, turned, camera) -> None:
    assert sums(f"return d.toCamera({list(device)}, {turned})") == pytest.approx(camera, abs=1e-9)


def test_a_moving_hand_tells_no_direction(sums) -> None:
    still, shaken, pushed, gap = sums("""
        const at = (n, v) => Array.from({length: n}, (_, i) => ({t: 10 + i * 16, v: v(i)}));
        const told = (samples) => d.averaged(samples, 0, 500)?.still ?? null;
        return [told(at(30, () => [0, 9.8, 0])),
                told(at(30, (i) => [i % 2 ? 0.8 : -0.8, 9.8, 0])),
                told(at(30, () => [0, 10.4, 0])),
                told(at(9, () => [0, 9.8, 0]))]""")
    assert (still, shaken, pushed, gap) == (True, False, False, None)


def test_two_positions_that_cannot_be_are_refused(sums) -> None:
    good, leaning, flipped, far = sums("""
        const u = (x, y, z) => { const l = Math.hypot(x, y, z); return [x / l, y / l, z / l]; };
        const told = (a, b) => d.ownTilt(a, b).problem ?? '';
        return [told(u(0.02, 1, 0.01), u(0.01, 1, 0.02)), told(u(0.09, 1, 0), u(-0.09, 1, 0)),
                told(u(0, 1, 0), u(0, -1, 0)), told(u(0.09, 1, 0), u(0.09, 1, 0))]""")
    assert good == "" and "upright" in leaning and "same end up" in flipped
    assert "do not fit together" in far


def test_the_doubt_of_a_calibrated_phone_holds_what_browsers_round(sums) -> None:
    """Parts added up: 0.2 degrees each for laying and for the camera in its case, and what
    rounding to 0.1 m/s2 leaves of the two-position method, by drawing it."""
    rng = np.random.default_rng(5)
    own, lean, now = rng.normal(0, 0.2, (3, 20_000))  # m/s2 across the phone
    two = (np.round(own + lean, 1) + np.round(own - lean, 1)) / 2
    rounded = np.degrees(np.std(np.round(own + now, 1) - two - now) / G)
    assert 0.15 < rounded < 0.25, "rounding alone is more than the 0.2 that one may hope for"
    plain, calibrated = sums("return [d.PLAIN_SD_DEG, d.CALIBRATED_SD_DEG]")
    assert plain == 0.7
    assert calibrated == pytest.approx(math.hypot(0.2, 0.2, rounded), rel=0.03)


def test_the_sharper_frame_counts_more_and_other_heights_are_kept(sums) -> None:
    sharp, soft, apart = sums("""
        const draw = (blur) => { const c = f.canvas(640, 480), p = c.getContext('2d');
          p.fillStyle = '#888'; p.fillRect(0, 0, 640, 480); p.filter = `blur(${blur}px)`;
          p.fillStyle = '#000'; for (let y = 20; y < 460; y += 16) p.fillRect(200, y, 200, 3);
          return c; };
        const [one, two] = [draw(0), draw(2)], kept = new f.Passed();
        await kept.offer(one, 1, 12, null, 1000); await kept.offer(two, 2, 13, null, 1100);
        await kept.offer(one, 1, -8, null, 1200); await kept.offer(one, 1, 2, null, 1300);
        return [f.sharpness(one, 640, 480), f.sharpness(two, 640, 480),
                [kept.apart(1, 2000).map((x) => x.elevation), kept.apart(1, 60000).length]];""")
    assert sharp > 2 * soft
    assert apart == [[13, -8], 0]


LOST = """window.addEventListener('message', (e) => {
    if (e.data?.type === 'streamlit:setComponentValue' && !window.lost) {
      window.lost = true; e.stopImmediatePropagation(); } }, true)"""


def test_photos_that_are_lost_on_the_way_are_handed_over_again(easy, visit) -> None:
    """A phone that changes its net in that moment: nobody presses again."""
    page = visit(easy, before=LOST)
    open_camera(page)
    frame(page).get_by_role("button", name="Take the photos").click()
    page.wait_for_function("() => window.lost")
    expect(page.get_by_text("Next: choose the scale.")).to_be_visible()
