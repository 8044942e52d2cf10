"""While a slider is dragged: a quick picture and its numbers, from this server, at once.

The page server hears of a slider only when it is let go.  The script watches the number at the
thumb and asks for what belongs to it (``app.entry.lesson_frames``), one picture at a time, the
newest first; when the slider is let go the page draws the full picture as ever.
"""

from __future__ import annotations

from urllib.parse import urlencode

from app.ui import theme

#: Headers in which the numbers of a quick picture come, as the cards show them.
NUMBERS_HEADER = "Countersight-Numbers"

FOLLOW = """<script>
(() => {
  const told = (box) => [...document.querySelectorAll('script[data-slider]')]
    .find((s) => box.classList.contains('st-key-' + s.dataset.slider))?.dataset;
  const show = (box, cfg, blob, numbers) => {
    const place = document.querySelector('.st-key-' + cfg.picture);
    const image = place?.querySelector('[data-testid=stImage] img');
    const drawing = place?.querySelector('[role=img]');
    if (image) {
      const size = image.getBoundingClientRect();
      if (!image.dataset.full) {
        image.dataset.full = image.src;
        image.style.width = size.width + 'px';
        image.style.height = size.height + 'px';
      }
      const url = URL.createObjectURL(blob);
      image.dataset.quick = image.src = url;
      image.onload = () => {
        URL.revokeObjectURL(url);
        if (image.src !== image.dataset.quick) rest(image);
      };
    } else if (drawing) {
      const reader = new FileReader();
      reader.onload = () => {
        drawing.style.mask = 'url(' + reader.result + ') center/contain no-repeat';
        drawing.style.webkitMask = drawing.style.mask;
      };
      reader.readAsDataURL(blob);
    }
    const cards = document.querySelectorAll('.st-key-' + cfg.cards + ' .cs-value');
    numbers.forEach((text, k) => { if (cards[k]) cards[k].firstChild.textContent = text + ' '; });
    window.countersightFollowed = performance.now();
  };
  const rest = (image) => {
    image.style.width = image.style.height = '';
    delete image.dataset.full;
    image.onload = null;
  };
  const ask = async (box) => {
    box.countersightAsked = true;
    if (box.countersightBusy) return;
    box.countersightBusy = true;
    while (box.countersightAsked) {
      box.countersightAsked = false;
      const cfg = told(box);
      const text = box.querySelector('[data-testid=stSliderThumbValue]')?.textContent || '';
      const value = Number(text.replace('\\u2212', '-'));
      if (!cfg || text === '' || Number.isNaN(value)) break;
      const image = document.querySelector('.st-key-' + cfg.picture + ' [data-testid=stImage] img');
      if (value === Number(cfg.value)) {
        if (image?.dataset.full && image.src === image.dataset.quick) {
          image.src = image.dataset.full;
          rest(image);
        }
        if (image) break;
      }
      try {
        const answer = await fetch(cfg.path + '?' + cfg.query + '&' + cfg.name + '=' + value);
        if (answer.ok) {
          const numbers = (answer.headers.get('NUMBERS') || '').split('|').filter(Boolean);
          show(box, cfg, await answer.blob(), numbers.map(decodeURIComponent));
        }
      } catch { /* the full picture comes when the slider is let go */ }
    }
    box.countersightBusy = false;
  };
  document.querySelectorAll('script[data-slider]').forEach((s) => {
    const box = document.querySelector('.st-key-' + s.dataset.slider);
    if (!box || box.countersightWatched) return;
    box.countersightWatched = true;
    new MutationObserver(() => ask(box)).observe(
      box, {subtree: true, childList: true, characterData: true});
  });
})();
</script>""".replace("NUMBERS", NUMBERS_HEADER)


def follow(slider: str, name: str, value: float, path: str, told: dict[str, object], *,
           picture: str, cards: str) -> None:
    """Let the picture in the container ``picture`` and the cards in ``cards`` follow a slider.

    ``name`` is what the slider sets in the address ``path``; ``told`` all else that is needed.
    """
    theme.run_script(FOLLOW, slider=slider, name=name, value=f"{value:g}", path=path,
                     query=urlencode(told), picture=picture, cards=cards)
