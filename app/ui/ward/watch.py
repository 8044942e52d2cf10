"""The count in the tab's title, and a sign from the browser where the person allows it.

The browser's own notifications (Notifications API, WHATWG living standard) need a secure
context, a leave given by a press, and a page that is open: they are no alarm.
"""

from __future__ import annotations

import streamlit as st

from app.ui.text import as_html

#: Said wherever the browser is asked for leave.
NO_ALARM = ("This is no alarm system: it works only while this page is open and awake. "
            "A sleeping phone stays silent.")

# One script for every run; what is due stands in an element beside it.  A browser says so
# again only when more is due than before.
WATCH = """<script>
(() => {
  const said = (text) => document.querySelectorAll('.cs-watch-state')
    .forEach((e) => { e.textContent = text; });
  const can = () => window.isSecureContext && 'Notification' in window;
  const state = () => said(!can() ? 'This browser tells nothing here: it needs an encrypted '
      + 'connection.'
    : Notification.permission === 'denied' ? 'This browser may not tell; its settings say so.'
    : window.countersightTells && Notification.permission === 'granted'
    ? 'This browser tells when a reading is due.' : 'Off.');
  const due = () => Number(document.querySelector('[data-ward-due]')?.dataset.wardDue || 0);
  const tell = () => {
    const now = due();
    if (now > (window.countersightTold || 0) && window.countersightTells && can()
        && Notification.permission === 'granted') {
      try {
        new Notification(now === 1 ? 'One reading is due' : now + ' readings are due',
          {body: 'Countersight. No alarm system.', tag: 'countersight-due'});
      } catch { said('This browser tells nothing from a page.'); window.countersightTells = false; }
    }
    window.countersightTold = now;
  };
  if (!window.countersightWatch) {
    window.countersightWatch = true;
    document.addEventListener('click', async (event) => {
      if (!event.target.closest?.('.cs-watch-ask')) return;
      if (window.countersightTells) window.countersightTells = false;
      else if (can()) {
        window.countersightTells = await Notification.requestPermission() === 'granted';
        window.countersightTold = 0;
        tell();
      }
      state();
    });
  }
  state();
  tell();
})();
</script>"""


def watch(due: int) -> None:
    """Say in the title how many readings are due, and to the browser if it is more."""
    st.set_page_config(page_title=f"({due}) Countersight" if due else "Countersight")
    st.html(f'<p class="cs-unseen" data-ward-due="{as_html(due)}"></p>'
            + WATCH.replace("<script", f'<script data-stage="ward-{due}"'),
            unsafe_allow_javascript=True)


def watch_block() -> None:
    """The button that asks the browser for leave, and what it is worth."""
    from app.ui import blocks

    st.html(blocks.block("watch", NO_ALARM))
