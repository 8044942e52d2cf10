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
    if (blob && image) {
      if (image.src !== image.dataset.quick) {
        const size = image.getBoundingClientRect();
        image.dataset.full = image.src;
        image.style.width = size.width + 'px';
        image.style.height = size.height + 'px';
      }
      const url = URL.createObjectURL(blob);
      image.dataset.quick = image.src = url;
      image.onload = () => {
        URL.revokeObjectURL(url);
        if (image.src !== image.dataset.quick) rest(image);  // the page drew the full one
      };
    } else if (blob && drawing) {
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
    image.onload = null;
  };
  const thumb = (box) => {
    const text = box.querySelector('[data-testid=stSliderThumbValue]')?.textContent || '';
    return text === '' ? NaN : Number(text.replace('\\u2212', '-'));
  };
  // Where the slider stands as the page drew it, the full picture is shown.
  const settle = (box, cfg) => {
    const image = document.querySelector('.st-key-' + cfg.picture + ' [data-testid=stImage] img');
    if (!image || thumb(box) !== Number(cfg.value)) return false;
    if (image.dataset.full && image.src === image.dataset.quick) {
      image.src = image.dataset.full;
      rest(image);
    }
    return true;
  };
  const ask = async (box) => {
    box.countersightAsked = true;
    if (box.countersightBusy) return;
    box.countersightBusy = true;
    while (box.countersightAsked) {
      box.countersightAsked = false;
      const cfg = told(box), value = thumb(box);
      if (!cfg || Number.isNaN(value)) break;
      settle(box, cfg);
      try {
        const answer = await fetch(cfg.path + '?' + cfg.query + '&' + cfg.name + '=' + value);
        if (answer.ok) {
          const numbers = (answer.headers.get('NUMBERS') || '').split('|').filter(Boolean);
          const blob = await answer.blob();
          show(box, cfg, settle(box, told(box) || cfg) ? null : blob,
               numbers.map(decodeURIComponent));
        }
      } catch { /* the full picture comes when the slider is let go */ }
    }
    box.countersightBusy = false;
  };
  document.querySelectorAll('script[data-slider]').forEach((s) => {
    const box = document.querySelector('.st-key-' + s.dataset.slider);
    if (box) settle(box, s.dataset);
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
