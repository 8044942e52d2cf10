// A learner's page: asks where the class stands, sends one answer a task, shows the truth once told.
(() => {
  const code = document.currentScript.dataset.code;
  const at = (id) => document.getElementById(id);
  const KEY = 'countersight-learner-' + code;
  let learner = null;
  // Of the browser and not of the tab: whoever scans the code again is the same learner.
  try { learner = localStorage.getItem(KEY); } catch { /* private mode: a new number each time */ }
  if (!learner) {
    learner = [...crypto.getRandomValues(new Uint8Array(16))]
      .map((b) => b.toString(16).padStart(2, '0')).join('');
    try { localStorage.setItem(KEY, learner); } catch { /* as above */ }
  }
  let shown = '', task = -1, busy = false;

  const element = (name, text) => {
    const made = document.createElement(name);
    made.textContent = text;
    return made;
  };
  const picture = (source, words) => {
    const made = new Image();
    made.src = source;
    made.alt = words;
    return made;
  };

  const draw = (now) => {
    const key = [now.task, now.shown, now.over, now.yours !== null].join('/');
    if (key === shown) return;
    const another = task !== now.task;  // a lost connection leaves what was typed
    shown = key;
    task = now.task;
    at('where').textContent = now.over ? 'The round is over. Thank you.'
      : 'Task ' + (now.task + 1) + ' of ' + now.tasks;
    at('form').hidden = now.over || now.shown || now.yours !== null;
    at('said').hidden = now.over || now.shown || now.yours === null;
    at('answer').hidden = !now.shown;
    if (now.over) { at('task').replaceChildren(); return; }
    if (another) {
      at('value').value = '';
      at('minus').checked = false;
      at('question').textContent = now.question + ' (' + now.unit + ')';
      at('minus-row').hidden = !now.negative;
      at('task').replaceChildren(...now.sentences.map((s) => element('p', s)),
        picture(now.picture, now.alt));
      scrollTo(0, 0);
    }
    if (now.yours !== null) {
      at('said').textContent = 'You said ' + now.yours + ' ' + now.unit
        + '. Wait until the truth is shown.';
    }
    if (now.shown) {
      at('answer').replaceChildren(...now.answer.map((s, k) => element(k ? 'p' : 'h1', s)),
        picture(now.after, now.answer.join(' ')));
    }
  };

  const look = async () => {
    try {
      const answer = await fetch('/class/' + code + '/state?learner=' + learner);
      if (answer.ok) draw(await answer.json());
      else if (answer.status === 404) {
        shown = '';
        try { localStorage.removeItem(KEY); } catch { /* it was never kept */ }
        at('where').textContent = await answer.text();
        ['task', 'form', 'said', 'answer'].forEach((id) => { at(id).hidden = true; });
        return;
      }
    } catch { at('where').textContent = 'No connection; trying again.'; shown = ''; }
    setTimeout(look, 1500 + 500 * Math.random());
  };

  at('form').addEventListener('submit', async (event) => {
    event.preventDefault();
    if (busy) return;
    let text = at('value').value.trim().replace('\u2212', '-').replace(',', '.');
    if (!/^-?\d{0,5}(\.\d{1,4})?$/.test(text) || !/\d/.test(text)) {
      at('value').setCustomValidity('Type one plain number, for example 23.5 or 23,5.');
      at('value').reportValidity();
      return;
    }
    if (at('minus').checked) text = '-' + text.replace('-', '');
    busy = true;
    at('send').disabled = true;
    try {
      const answer = await fetch('/class/' + code + '/answer', {method: 'POST',
        headers: {'Content-Type': 'application/json'},
        body: JSON.stringify({task, learner, value: Number(text)})});
      if (answer.ok) {
        const told = await answer.json();
        draw(told);
        if (!told.kept && told.yours === null) {
          at('said').hidden = false;
          at('said').textContent = 'Your answer came after the truth was shown: it does not count.';
        }
      } else { at('said').hidden = false; at('said').textContent = await answer.text(); }
    } catch {
      at('said').hidden = false;
      at('said').textContent = 'No connection: nothing was sent. Try again.';
    }
    busy = false;
    at('send').disabled = false;
  });
  at('value').addEventListener('input', () => at('value').setCustomValidity(''));
  look();
})();
