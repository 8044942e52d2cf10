"""Starting a page server, and opening pages that may ask nobody but it."""

from __future__ import annotations

import os
import socket
import ssl
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PHONE = {"width": 390, "height": 844}
#: A flag of Chromium: no name but this machine's address leads anywhere.
ALONE = "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost"
#: A browser need not keep a second process ready for pages that are looked at for seconds.
FEW_PROCESSES = ("--disable-features=SpareRendererForSitePerProcess", "--num-raster-threads=1")
#: Nor clear up often and on several threads, nor compile a third time: a fifth off its work.
SHORT_VISITS = (*FEW_PROCESSES,
                "--js-flags=--min-semi-space-size=64 --max-semi-space-size=128 "
                "--single-threaded-gc --no-flush-bytecode --no-opt --no-maglev")

#: Run in a page: what a thumb could miss, one line each.  44 CSS px: WCAG 2.2, success
#: criterion 2.5.5 (level AAA; 2.5.8, level AA, asks for 24).
SMALL = """() => [...document.querySelectorAll(
    '.stApp button, .stMain a[href]:not([data-testid=stSkipToContent]), .stMain summary,'
    + '.stApp [data-testid=stCheckbox] label, .stApp [data-testid=stRadio] label,'
    + '.stApp input[type=text], .stApp textarea')]
  .filter(e => !e.closest('[data-testid=stDataFrame]'))
  .map(e => [e.innerText || e.ariaLabel || e.outerHTML.slice(0, 90), e.getBoundingClientRect()])
  .filter(([, r]) => r.right > 0 && r.width > 0 && (r.height < 43.5 || r.width < 43.5))
  .map(([name, r]) => `${name}: ${r.width} x ${r.height}`)"""


@dataclass(frozen=True)
class Served:
    """A running page server: its address, the folder of its record, its process."""

    url: str
    data: Path
    pid: int


def free_port() -> int:
    """A port that nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def serve(command: list[str], port: int, data: Path, scheme: str = "http") -> Iterator[Served]:
    """Run ``command`` until the test is over; its output goes to ``data``'s log."""
    data.mkdir(parents=True, exist_ok=True)
    log = data.parent / f"{data.name}.log"
    env = {**os.environ, "COUNTERSIGHT_DATA": str(data), "PYTHONPATH": str(ROOT)}
    with log.open("wb") as out:
        process = subprocess.Popen(command, cwd=ROOT, env=env, stdout=out, stderr=out)
    url = f"{scheme}://127.0.0.1:{port}"
    unseen = ssl._create_unverified_context()  # a certificate that nobody vouches for
    try:
        for _ in range(1800):  # it is ready within seconds where nothing else runs
            if process.poll() is not None:
                break
            try:
                with urllib.request.urlopen(f"{url}/_stcore/health", timeout=1, context=unseen):
                    yield Served(url, data, process.pid)
                    return
            except OSError:
                time.sleep(0.1)
        pytest.fail(f"The page server did not start: {log.read_text(errors='replace')[-2000:]}")
    finally:
        process.terminate()
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def serve_pages(data: Path, *options: str, scheme: str = "http") -> Iterator[Served]:
    """The pages as ``countersight serve`` gives them, with ``data`` as their record."""
    port = free_port()
    yield from serve([sys.executable, "-m", "app", "serve", "--port", str(port), "--data",
                      str(data), "--no-browser", *options], port, data, scheme)


#: Noted in every page, frames within it included: when somebody last touched it, when it last
#: told the page server something, and when a drawing last began.
NOTES = """(() => {
  const notes = window.notes = {touched: 0, told: 0, began: 0};
  const touched = (e) => {
    if (e.type === 'message' && e.source === window) return;  // the page tells itself its state
    notes.touched = Date.now();
    try { if (top.notes) top.notes.touched = Date.now(); } catch { /* another's frame */ }
  };
  for (const name of ['pointerdown', 'pointerup', 'click', 'keydown', 'input', 'change', 'drop',
                      'wheel', 'touchstart', 'touchend', 'message', 'popstate', 'resize'])
    addEventListener(name, touched, {capture: true, passive: true});
  const send = WebSocket.prototype.send;
  WebSocket.prototype.send = function (data) {
    notes.told = Date.now();
    return send.call(this, data);
  };
  new MutationObserver((changes) => {
    for (const c of changes)
      if (c.target.dataset.testScriptState !== 'notRunning') notes.began = Date.now();
  }).observe(document, {subtree: true, attributeFilter: ['data-test-script-state']});
})()"""


def new_context(browser, width: int, height: int, scheme: str, **more):  # type: ignore[no-untyped-def]
    """A browser profile of its own, in which ``at_rest`` need not wait for half a second."""
    size = {"width": width, "height": height}
    context = browser.new_context(viewport=size, color_scheme=scheme, has_touch=size == PHONE,
                                  **more)
    context.add_init_script(NOTES)
    return context


#: The profile that one test after the other uses, so that the pages' scripts are fetched and
#: compiled once.  A test finds no cookie and nothing stored in it.
kept_context = cache(new_context)


def opener(browser, served):  # type: ignore[no-untyped-def]
    """As the fixture, for a server of one's own.

    The browser finds no host but this machine (``ALONE``), and every other that a page asks for
    is noted.  A second page of a test is another person's browser.
    """
    strays: list[str] = []
    kept, others = [], []

    def note(request):  # type: ignore[no-untyped-def]
        if request.url.startswith("http") and not request.url.startswith(served.url):
            strays.append(request.url)

    def open_(path: str = "/", size=PHONE, scheme: str = "dark"):  # type: ignore[no-untyped-def]
        look = (browser, size["width"], size["height"], scheme)
        if (context := kept_context(*look)) in kept:
            context = new_context(*look)
            others.append(context)
        else:
            kept.append(context)
        context.on("request", note)
        page = context.new_page()
        page.set_default_timeout(60_000)
        page.goto(served.url + path)
        return page

    yield open_
    for context in others:
        context.close()
    for context in kept:
        for page in context.pages:
            if page.url.startswith(served.url):
                page.evaluate("localStorage.clear()")
            page.close()
        context.clear_cookies()
        context.remove_listener("request", note)
    assert strays == [], f"The page asked other hosts: {strays}"


def live(page):  # type: ignore[no-untyped-def]
    """What the page shows now, without what is left from the drawing before.

    While the program draws the page anew, a field that will go can stand beside the
    one that takes its place for a moment.
    """
    return page.locator("[data-stale=false]")


def at_rest(page) -> None:  # type: ignore[no-untyped-def]
    """Wait until the page stands as it will stay: drawn, nothing left over, nothing fading.

    While the program draws the page anew, what is left from before is shown at a third of
    its strength: too pale to be read, and gone a moment later.  Rest has to last half a
    second, since a browser hears a little late that the drawing has begun; a tenth is enough
    where the page told the page server of the last touch, and a drawing began after that, and
    no frame is in the page: frames come last.
    ``window.restSince`` falls back to 0 when a drawing begins afterwards.
    """
    page.evaluate("""() => {
      window.restSince = 0;
      window.restWatch?.disconnect();
      window.restWatch = new MutationObserver(() => { window.restSince = 0; });
      window.restWatch.observe(document.body, {
        subtree: true, attributeFilter: ['data-test-script-state']});
    }""")
    page.wait_for_function("""() => {
      const app = document.querySelector('[data-testid=stApp]');
      const rest = app && app.dataset.testScriptState === 'notRunning'
        && !document.querySelector('[data-stale=true], [data-testid=stSkeleton]')
        && document.getAnimations().every(a => a.playState !== 'running'
             || a.effect.getComputedTiming().iterations === Infinity);
      window.restSince = rest ? window.restSince || performance.now() : 0;
      const n = window.notes;
      const answered = n && n.told && n.touched <= n.told && n.told <= n.began
        && !document.querySelector('iframe');
      return rest && performance.now() - window.restSince > (answered ? 100 : 500);
    }""", polling=50)


def go_to(page, path: str) -> None:  # type: ignore[no-untyped-def]
    """Another page of the app in the same tab, as by the browser's own buttons: half the work
    of loading the program anew."""
    page.evaluate("""path => { history.pushState({}, '', path);
      dispatchEvent(new PopStateEvent('popstate', {state: {}})); }""", path)
    at_rest(page)


def lasting(page, look: Callable[[], list[str]]) -> list[str]:  # type: ignore[no-untyped-def]
    """The faults that ``look`` finds in a page that is at rest from beginning to end of it.

    A look during which the page begins to be drawn anew does not count.
    """
    for _ in range(10):
        at_rest(page)
        found = look()
        if page.evaluate("window.restSince > 0"):
            return found
    return ["the page does not come to rest"]


def too_small(page) -> list[str]:  # type: ignore[no-untyped-def]
    """What a thumb could miss, and a page that is wider than the screen."""
    return lasting(page, lambda: too_small_now(page))


def too_small_now(page) -> list[str]:  # type: ignore[no-untyped-def]
    """The same of a page that is at rest."""
    return page.evaluate(SMALL) + too_wide(page)


def too_wide(page) -> list[str]:  # type: ignore[no-untyped-def]
    """A page that has to be pushed sideways."""
    wide = page.evaluate("document.documentElement.scrollWidth")
    return [f"wider than the screen: {wide}"] if wide > page.viewport_size["width"] else []


def give_file(page, file: object) -> None:  # type: ignore[no-untyped-def]
    """Choose a file in the page's first upload field once the page is at rest.

    The page server (Streamlit 1.67) loses its answer to a file chosen in the few
    milliseconds in which it begins to draw the page: faster than any hand.
    """
    at_rest(page)
    page.locator("input[type=file]").first.set_input_files(file)
