"""The count in the tab's title, and a sign from the browser where the person allows it.

The browser's own notifications (Notifications API, WHATWG living standard) need a secure
context, a leave given by a press, and a page that is open: they are no alarm.
"""

from __future__ import annotations

import streamlit as st

from app.ui import theme

#: Said wherever the browser is asked for leave.
NO_ALARM = ("This is no alarm system: it works only while this page is open and awake. "
            "A sleeping phone stays silent.")

# How many are due stands in the script's own element.  The browser says so again only when
# more are due than before.
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
  const due = () => Number(document.querySelector('script[data-due]')?.dataset.due || 0);
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
    theme.run_script(WATCH, stage="ward", due=due)
