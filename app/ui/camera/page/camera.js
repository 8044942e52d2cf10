// The camera of the page: live picture, what matters drawn over it, photos of one press.

import {hand, listen, packed} from './talk.js';
import {Down, ownTilt} from './down.js';
import {Passed, canvas, jpeg, sharpness, smaller} from './frames.js';

const LIVE_SIDE_PX = 960;
// No more than so many looks a second: a hand does not move faster.
const LOOK_EVERY_MS = 200;
const BURST = 6, BURST_EVERY_MS = 90, STILLS = 3, STILL_MS = 4000;
// Of a burst, so many become photos.
const OF_BURST = 2;
const WAIT_FOR_STILL_MS = 1500;
const NO_PICTURE = 'No picture has come from the camera. Press again, or close the camera and open '
  + 'it anew.';
// A camera takes a moment to start; a press before its first picture waits so long for it.
const WAIT_FOR_PICTURE_MS = 2000;
// Photos of one press are handed over so often, and so long apart, until the page has them.
const HAND_TIMES = 3, HAND_AGAIN_MS = 15000;
// Share of the screen's height that the picture takes: what to do and the button stay in sight.
const PICTURE_SHARE = 0.56;
const DRAW_EVERY_MS = 60;
// Of a phone's main camera, 35 mm-equivalent, where nothing tells it: for the drawn line only.
const FOCAL_35MM = 26, FILM_DIAGONAL_MM = 43.27;

const $ = (id) => document.getElementById(id);
const pause = (ms) => new Promise((done) => setTimeout(done, ms));
const ui = Object.fromEntries(['open', 'picture', 'why', 'stage', 'video', 'over', 'hint', 'tilt', 'shoot',
  'torch', 'calibrate', 'close', 'bench', 'bench-words', 'bench-go', 'bench-end']
  .map((id) => [id, $(id)]));

const down = new Down(), passed = new Passed();
let args = {}, track = null, live = 0, last = null, busy = false, noTilt = '', trouble = '';
// For the tests and the benchmark: how often it was looked, and how long an answer took.
window.looks = [];

listen((given, theme) => {
  args = given;
  ui.shoot.textContent = 'Take the photos';
  if (theme) {
    const style = document.documentElement.style;
    style.setProperty('--text', theme.textColor);
    style.setProperty('--base', theme.backgroundColor);
    style.setProperty('--accent', theme.primaryColor);
    style.setProperty('--on-accent', onTop(theme.primaryColor));
  }
  if (noCamera()) why(noCamera());  // what else was said stays when the page is drawn anew
});

/** Black or white, whichever can be read on `colour` (contrast by WCAG 2.2). */
function onTop(colour) {
  const parts = /^#(..)(..)(..)/.exec(colour ?? '')?.slice(1).map((x) => parseInt(x, 16) / 255);
  if (!parts) return '#fff';
  const [r, g, b] = parts.map((x) => (x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4));
  return 0.2126 * r + 0.7152 * g + 0.0722 * b > 0.179 ? '#000' : '#fff';
}

function why(sentence) {
  ui.why.hidden = !sentence;
  ui.why.textContent = sentence ? `${sentence} You can choose a photo instead.` : '';
  ui.open.disabled = Boolean(sentence) && sentence === noCamera();
}

function noCamera() {
  if (!window.isSecureContext) {
    return 'This page came without encryption, and a browser gives its camera to an encrypted page '
      + 'only.';
  }
  return navigator.mediaDevices?.getUserMedia ? '' : 'This browser gives its camera to no page.';
}

const REFUSALS = {
  NotAllowedError: 'The camera was not allowed; allow it for this page in the browser\'s settings.',
  NotFoundError: 'No camera was found on this device.',
  NotReadableError: 'Another app holds the camera; close it there and try again.',
};

ui.open.addEventListener('click', async () => {
  ui.open.disabled = true;
  // First, since a browser may ask for the sensor in the tap itself only; the camera does not
  // wait for the answer.
  noTilt = null;  // asked, and not answered yet
  down.start().then((problem) => { noTilt = problem; });
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({audio: false, video: {
      facingMode: {ideal: 'environment'}, width: {ideal: 3840}, height: {ideal: 2160}}});
  } catch (problem) {
    down.stop();
    ui.open.disabled = false;
    why(REFUSALS[problem.name] ?? 'The camera cannot be used.');
    return;
  }
  why('');
  [track] = stream.getVideoTracks();
  track.addEventListener('ended', lost);
  ui.video.srcObject = stream;
  ui.open.hidden = true;
  ui.stage.hidden = false;
  ui.torch.hidden = !track.getCapabilities?.().torch;
  await ui.video.play().catch(() => {});
  size();
  if (window.frameElement) {
    window.frameElement.style.scrollMarginTop = '64px';  // the page's own bar lies over its top
    window.frameElement.scrollIntoView({block: 'start'});
  }
  const turn = ++live;
  look(turn);
  draw(turn);
});

/** As large as leaves room for the words and the button on the screen. */
function size() {
  const {videoWidth: w, videoHeight: h} = ui.video;
  if (!w) return;
  const most = PICTURE_SHARE * (window.parent.innerHeight || screen.height);
  ui.picture.style.aspectRatio = `${w} / ${h}`;
  ui.picture.style.width = `min(100%, ${Math.round(most * w / h)}px)`;
}
ui.video.addEventListener('resize', size);

function shut() {
  live++;
  track?.stop();
  track = null;
  last = null;
  trouble = '';
  down.stop();
  passed.clear();
  ui.video.srcObject = null;
  ui.stage.hidden = ui.bench.hidden = true;
  ui.open.hidden = ui.open.disabled = false;
}
ui.close.addEventListener('click', shut);

/** Another app took the camera, or somebody took back the leave while the picture ran. */
function lost({target}) {
  if (target !== track) return;
  shut();
  why('The camera was taken away: another app uses it, or it is not allowed any more. Open it again.');
}

ui.torch.addEventListener('click', async () => {
  const on = ui.torch.getAttribute('aria-pressed') !== 'true';
  try {
    await track.applyConstraints({advanced: [{torch: on}]});
    ui.torch.setAttribute('aria-pressed', String(on));
  } catch { ui.torch.hidden = true; }
});

/** The sensor belongs to the rear camera's picture; another camera looks another way. */
const rear = () => track?.getSettings?.().facingMode !== 'user';
const tilt = () => (rear() ? down.now() : null);
/** A picture comes: a camera that another app holds for a while leaves its last one standing. */
const comes = () => ui.video.videoWidth > 0 && !track?.muted;

// --- looking, several times a second

async function look(turn) {
  const {video} = ui;
  let full = null;
  while (turn === live) {
    const start = performance.now();
    if (!busy && args.session && comes() && !document.hidden) {
      if (full?.width !== video.videoWidth || full?.height !== video.videoHeight) {
        full = canvas(video.videoWidth, video.videoHeight);
      }
      full.getContext('2d').drawImage(video, 0, 0);
      const held = tilt();
      const answer = await asked(smaller(full, full.width, full.height, LIVE_SIDE_PX), full.width,
        held);
      if (turn !== live) return;
      if (answer) {
        window.looks.push({at: performance.now(), ms: performance.now() - start});
        last = answer;
        if (answer.elevation_deg !== null && !busy) {
          await passed.offer(full, sharpness(full, full.width, full.height), answer.elevation_deg,
            held?.still ? held : null);
        }
      }
    }
    if (!comes()) last = null;  // what was seen in the last picture is not of now
    tell();
    await pause(Math.max(30, LOOK_EVERY_MS - (performance.now() - start)));
  }
}

async function asked(frame, fullWidth, held) {
  const ratio = (fullWidth / frame.width).toFixed(3);
  const down = held?.still ? `&down=${held.v.map((x) => x.toFixed(4))}` : '';
  try {
    const got = await fetch(`${args.path}${args.session}?ratio=${ratio}${down}`,
      {method: 'POST', body: await jpeg(frame, 0.7), headers: {'Content-Type': 'image/jpeg'}});
    if (got.ok) return await got.json();
    if (![429, 503].includes(got.status)) last = null;
  } catch { last = null; }
  return null;
}

function tell() {
  const held = tilt();
  // What a press failed for stays until the next one, or until a picture comes after all.
  if (trouble === NO_PICTURE && comes()) trouble = '';
  let words = trouble || (last?.words ?? args.words);
  if (!trouble && held && !held.still) words = 'Hold still.';
  if (ui.hint.textContent !== words && !busy) ui.hint.textContent = words;
  ui.calibrate.hidden = !down.works || !rear();
  ui.tilt.textContent = tilted(held);
}

function tilted(held) {
  if (!rear()) return 'The tilt is not used with this camera.';
  if (!held && noTilt === null) return '';
  if (!held && noTilt) return `${noTilt} Photos are read without it.`;
  if (!held && !down.works) return 'This device does not tell how it is tilted; photos are read without it.';
  if (!held) return down.raw() ? 'Hold the phone upright: then it knows down.' : '';
  const [x, y, z] = held.v;
  const ahead = Math.round(Math.asin(Math.min(1, Math.max(-1, z))) * 180 / Math.PI);
  const side = Math.round(Math.atan2(x, y) * 180 / Math.PI);
  const parts = [];
  if (ahead) parts.push(`looks ${Math.abs(ahead)}\u00b0 ${ahead > 0 ? 'down' : 'up'}`);
  if (side) parts.push(`leans ${Math.abs(side)}\u00b0 to the ${side > 0 ? 'left' : 'right'}`);
  return `Phone ${parts.join(', ') || 'level'}${held.calibrated ? ' (calibrated)' : ''}.`;
}

// --- drawing over it

function draw(turn) {
  if (turn !== live) return;
  const box = ui.over.getBoundingClientRect(), dense = window.devicePixelRatio || 1;
  const [w, h] = [Math.round(box.width * dense), Math.round(box.height * dense)];
  if (ui.over.width !== w || ui.over.height !== h) { ui.over.width = w; ui.over.height = h; }
  const pen = ui.over.getContext('2d');
  pen.clearRect(0, 0, w, h);
  const [vw, vh] = [ui.video.videoWidth, ui.video.videoHeight];
  if (vw && w) {
    // Where the picture lies in its box.
    const k = Math.min(w / vw, h / vh), left = (w - k * vw) / 2, top = (h - k * vh) / 2;
    const at = ([x, y]) => [left + x * k * vw, top + y * k * vh];
    for (const outline of last?.outlines ?? []) {
      line(pen, [...outline, outline[0]].map(at), last.ready ? '#7CFC9A' : '#FFD54A', 4 * dense);
    }
    const held = tilt();
    if (held) horizon(pen, held, vw, vh, at, dense);
  }
  setTimeout(() => requestAnimationFrame(() => draw(turn)), DRAW_EVERY_MS);
}

/** The line of all points at the height of the lens, however far away they are. */
function horizon(pen, {v: [x, y, z]}, vw, vh, at, dense) {
  if (Math.abs(y) < 0.5) return;
  const f = FOCAL_35MM / FILM_DIAGONAL_MM * Math.hypot(vw, vh);
  const height = (u) => (vh / 2 - (z * f + x * (u - vw / 2)) / y) / vh;
  pen.setLineDash([14 * dense, 8 * dense]);
  line(pen, [[0, height(0)], [1, height(vw)]].map(at), '#FFFFFF', 2.5 * dense);
  pen.setLineDash([]);
  const [tx, ty] = at([0.02, height(0.02 * vw)]);
  pen.font = `${14 * dense}px sans-serif`;
  pen.lineWidth = 4 * dense;
  pen.strokeStyle = '#000';
  pen.fillStyle = '#FFF';
  pen.strokeText('height of the lens', tx, ty - 6 * dense);
  pen.fillText('height of the lens', tx, ty - 6 * dense);
}

function line(pen, points, colour, width) {
  for (const [style, more] of [['#000', 2], [colour, 0]]) {
    pen.beginPath();
    points.forEach(([px, py], i) => (i ? pen.lineTo(px, py) : pen.moveTo(px, py)));
    pen.strokeStyle = style;
    pen.lineWidth = width + more;
    pen.stroke();
  }
}

// --- one press

ui.shoot.addEventListener('click', async () => {
  if (busy || !track) return;
  busy = ui.shoot.disabled = true;
  trouble = '';
  try {
    await firstPicture();
    if (!track) return;  // closed in the meantime
    ui.hint.textContent = 'Hold still.';
    const limit = performance.now() + WAIT_FOR_STILL_MS;
    let held = tilt();
    while (held && !held.still && performance.now() < limit) { await pause(60); held = tilt(); }
    const moved = held && !held.still;
    const taken = comes() ? await burst() : [];
    if (!track) return;  // taken away in the meantime
    if (!taken.length) throw new Error('nothing came');
    taken.sort((a, b) => b.score - a.score);
    // A tilt that was told while the hand moved is no tilt.
    const chosen = taken.slice(0, OF_BURST).map((f) => ({...f, down: held?.still ? held : null}));
    if (last && last.elevation_deg !== null) chosen.push(...passed.apart(last.elevation_deg));
    ui.hint.textContent = moved ? 'The hand moved: taken, without the phone\'s tilt.' : 'Taken.';
    const head = {photos: chosen.map((f) => ({bytes: f.blob.size, down: f.down?.v ?? null,
      sd_deg: f.down?.sd_deg ?? null, calibrated: f.down?.calibrated ?? false}))};
    const bytes = await packed(head, chosen.map((f) => f.blob));
    shut();
    handed(bytes);
  } catch {
    trouble = comes() ? 'No photo came from the camera; press again.' : NO_PICTURE;
    ui.hint.textContent = trouble;
  } finally {
    busy = ui.shoot.disabled = false;
  }
});

/**
 * Hands the photos to the page, which then takes this frame away.  While it is still here they may
 * be lost: a phone that changes its net loses what was under way, and nobody would say so.
 */
async function handed(bytes) {
  ui.open.hidden = true;
  for (let n = 0; n < HAND_TIMES; n++) {
    hand(bytes);
    await pause(HAND_AGAIN_MS);
  }
  ui.open.hidden = false;
  why('Nothing has come of these photos; take them again.');
}

/** Waits a moment for the first picture of a camera that is starting. */
async function firstPicture() {
  const come = () => comes()
    && ui.video.readyState >= HTMLMediaElement.HAVE_CURRENT_DATA;
  if (come()) return;
  ui.hint.textContent = 'The camera is starting: the photos are taken as soon as its picture comes.';
  const limit = performance.now() + WAIT_FOR_PICTURE_MS;
  while (track && !come() && performance.now() < limit) await pause(40);
}

/** The largest stills that the phone gives, or frames of the live picture. */
async function burst() {
  const stills = [];
  if ('ImageCapture' in window) {
    try {
      const camera = new ImageCapture(track);
      for (let n = 0; n < STILLS; n++) {
        const blob = await Promise.race([camera.takePhoto(), pause(STILL_MS)]);
        if (!blob) break;
        const picture = await createImageBitmap(blob);
        // Some phones' stills are smaller than their live picture.
        if (picture.width * picture.height < ui.video.videoWidth * ui.video.videoHeight) break;
        stills.push({blob, score: sharpness(picture, picture.width, picture.height)});
        picture.close();
      }
    } catch { /* frames then */ }
  }
  if (stills.length) return stills;
  const frames = [];
  for (let n = 0; n < BURST; n++) {
    const full = smaller(ui.video, ui.video.videoWidth, ui.video.videoHeight, Infinity);
    frames.push({full, score: sharpness(full, full.width, full.height)});
    await pause(BURST_EVERY_MS);
  }
  frames.sort((a, b) => b.score - a.score);
  return Promise.all(frames.slice(0, OF_BURST).map(
    async ({full, score}) => ({blob: await jpeg(full), score})));
}

// --- calibrating the tilt once

const POSITIONS = [
  'Lay a long edge of the phone along a plumb line or a door frame, its top up. Press, and hold it '
  + 'there until it buzzes.',
  'Now turn it round its long axis, so that the other long edge lies along the same line and the '
  + 'back shows where the screen was; the top stays up. Press, turn, and hold it there until it '
  + 'buzzes.',
];
let found = [];

ui.calibrate.addEventListener('click', () => {
  found = [];
  ui.bench.hidden = false;
  ui['bench-go'].hidden = false;
  ui['bench-words'].textContent = POSITIONS[0];
});
ui['bench-end'].addEventListener('click', () => { ui.bench.hidden = true; });
ui['bench-go'].addEventListener('click', async () => {
  ui['bench-go'].disabled = true;
  ui['bench-words'].textContent = 'In four seconds; hold it along the line.';
  await pause(args.settle_ms ?? 4000);
  const limit = performance.now() + 6000;
  let raw = down.raw();
  while (!raw?.still && performance.now() < limit) { await pause(80); raw = down.raw(); }
  navigator.vibrate?.(200);
  ui['bench-go'].disabled = false;
  if (!raw?.still) {
    ui['bench-words'].textContent = `The phone was not still. ${POSITIONS[found.length]}`;
    return;
  }
  found.push(raw.v);
  if (found.length < 2) { ui['bench-words'].textContent = POSITIONS[1]; return; }
  const {tilt: own, problem} = ownTilt(...found);
  found = [];
  if (problem) { ui['bench-words'].textContent = `${problem} ${POSITIONS[0]}`; return; }
  down.keep(own);
  ui['bench-go'].hidden = true;
  ui['bench-words'].textContent = 'Calibrated: this browser keeps it for this phone.';
});
