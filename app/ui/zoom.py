"""A picture in all its pixels, looked at as closely as one likes: fingers, wheel, buttons, keys."""

from __future__ import annotations

import streamlit as st

from app.ui import theme
from app.ui.pictures import encoded
from vision.imaging.photo import Photo

#: How many times nearer a picture can be brought: a pixel of a large photo on a phone is then
#: as large as a grain of rice.
NEAREST = 24

# The handlers lie on the document, so that they outlive what the page server draws anew; where a
# picture stands is kept on its frame, and another picture (data-of) begins whole.
ZOOM = """<script>
(() => {
  const frameOf = (node) =>
    node.closest?.('[class*="st-key-zoom-"]')?.querySelector('[data-testid=stImage]');
  const seen = (frame) => frame.countersightSeen ||= {near: 1, x: 0, y: 0};
  const place = (frame, near, x, y) => {
    const most = NEAREST, w = frame.clientWidth, h = frame.clientHeight;
    near = Math.min(most, Math.max(1, near));
    x = Math.min(0, Math.max(w * (1 - near), x));
    y = Math.min(0, Math.max(h * (1 - near), y));
    frame.countersightSeen = {near, x, y};
    frame.querySelector('img').style.transform = `translate(${x}px, ${y}px) scale(${near})`;
    frame.style.touchAction = near > 1 ? 'none' : '';
  };
  // Nearer by a factor, with the point (px, py) of the frame left where it is.
  const nearer = (frame, factor, px, py) => {
    const {near, x, y} = seen(frame);
    const to = Math.min(NEAREST, Math.max(1, near * factor)), k = to / near;
    place(frame, to, px - k * (px - x), py - k * (py - y));
  };
  const middle = (frame, factor) =>
    nearer(frame, factor, frame.clientWidth / 2, frame.clientHeight / 2);
  const begin = () => document.querySelectorAll('script[data-of]').forEach((told) => {
    const frame = frameOf(told);
    if (!frame?.querySelector('img') || frame.countersightOf === told.dataset.of) return;
    frame.countersightOf = told.dataset.of;
    frame.tabIndex = 0;
    frame.setAttribute('role', 'group');
    frame.setAttribute('aria-label', 'Picture: plus and minus bring it nearer, arrows move it');
    place(frame, 1, 0, 0);
  });
  if (window.countersightZoom) return;
  window.countersightZoom = true;
  begin();
  new MutationObserver(begin).observe(document.body, {childList: true, subtree: true});
  const fingers = new Map();
  const spread = () => {
    const [a, b] = [...fingers.values()];
    return {x: (a.x + b.x) / 2, y: (a.y + b.y) / 2, far: Math.hypot(a.x - b.x, a.y - b.y)};
  };
  document.addEventListener('pointerdown', (event) => {
    const frame = event.target.closest('[data-testid=stImage]') && frameOf(event.target);
    if (!frame) return;
    fingers.set(event.pointerId, {x: event.clientX, y: event.clientY, frame});
  });
  document.addEventListener('pointermove', (event) => {
    const finger = fingers.get(event.pointerId);
    if (!finger) return;
    const {frame} = finger, box = frame.getBoundingClientRect();
    const before = fingers.size === 2 ? spread() : null;
    const dx = event.clientX - finger.x, dy = event.clientY - finger.y;
    fingers.set(event.pointerId, {x: event.clientX, y: event.clientY, frame});
    const {near, x, y} = seen(frame);
    if (before) {
      const now = spread();
      place(frame, near, x + now.x - before.x, y + now.y - before.y);
      nearer(frame, now.far / Math.max(1, before.far), now.x - box.left, now.y - box.top);
    } else if (fingers.size === 1 && near > 1) place(frame, near, x + dx, y + dy);
  });
  for (const end of ['pointerup', 'pointercancel'])
    document.addEventListener(end, (event) => fingers.delete(event.pointerId));
  document.addEventListener('dragstart', (event) => {
    if (event.target.closest('[data-testid=stImage]') && frameOf(event.target))
      event.preventDefault();
  });
  const at = (event, factor) => {
    const frame = event.target.closest('[data-testid=stImage]') && frameOf(event.target);
    if (!frame) return;
    event.preventDefault();
    const box = frame.getBoundingClientRect();
    nearer(frame, factor, event.clientX - box.left, event.clientY - box.top);
  };
  document.addEventListener('dblclick', (event) => at(event, 2));
  document.addEventListener('wheel', (event) => {
    if (event.ctrlKey || event.metaKey) at(event, Math.exp(-event.deltaY / 200));
  }, {passive: false});
  document.addEventListener('click', (event) => {
    const button = event.target.closest('[data-nearer]'), frame = button && frameOf(button);
    if (!frame) return;
    const factor = Number(button.dataset.nearer);
    if (factor) middle(frame, factor); else place(frame, 1, 0, 0);
  });
  document.addEventListener('keydown', (event) => {
    const frame = event.target.matches?.('[data-testid=stImage]') && frameOf(event.target);
    if (!frame) return;
    const {near, x, y} = seen(frame), step = frame.clientWidth / 8;
    const by = {ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step],
                ArrowDown: [0, -step]}[event.key];
    if (by && near > 1) place(frame, near, x + by[0], y + by[1]);
    else if (event.key === '+') middle(frame, 1.5);
    else if (event.key === '-') middle(frame, 1 / 1.5);
    else return;
    event.preventDefault();
  });
})();
</script>""".replace("NEAREST", str(NEAREST))

_BUTTONS = """<div class="cs-zoom" role="group" aria-label="How near the picture is">
<button type="button" data-nearer="1.5">Nearer</button>
<button type="button" data-nearer="0.6667">Farther</button>
<button type="button" data-nearer="0">Whole</button></div>"""


def zoom_picture(photo: Photo, key: str, alt: str) -> None:
    """Show the whole photo in all its pixels; ``key`` names it, so that the next begins whole."""
    with st.container(key=f"zoom-{key}"):
        # A width in pixels keeps the page server from making it smaller; the style sheet fits
        # it into the page.
        st.image(encoded(photo.rgb, 95), width=photo.width, alt=alt)
        theme.run_script(ZOOM + _BUTTONS, of=key)
