// Which way is down in the camera's picture, from the phone's own sensor.
//
// Device axes (Device Orientation and Motion, W3C): x to the right of the screen, y to its top,
// z out of it.  Camera axes of the rear camera: x right and y down in the upright picture,
// z forward.  The sensor tells the acceleration with gravity, which points up for a phone at
// rest; some platforms tell its negative.  Nothing here looks at the name of a browser.

const STANDARD_GRAVITY = 9.80665;  // m/s2, conventional value
// Averaged over so long before the shutter.
export const WINDOW_MS = 500;
const FEWEST = 10;  // samples, in at least four fifths of the window (our choice)
// Further from 1 g the hand was accelerating (our choice, as for photo files).
const LENGTH = [0.97, 1.03];
// Root mean square turn within the window, deg, from which on the hand moves (our choice).
const MOVING_DEG = 1.5;
// Standard uncertainty of the direction, deg, of a phone as it is (our choice).
export const PLAIN_SD_DEG = 0.7;
// And of one that was laid against a plumb line both ways round: what the two positions themselves
// leave (laying and sensor; our choice), the camera's axis in the phone's case, which no laying
// shows (our choice), and that browsers round to 0.1 m/s2 (W3C, Device Orientation and Motion):
// now, and in the mean of two positions.
const LAID_DEG = 0.2, CAMERA_IN_CASE_DEG = 0.2;
const ROUNDED_DEG = 0.1 / Math.sqrt(12) / STANDARD_GRAVITY * 180 / Math.PI;
export const CALIBRATED_SD_DEG = Math.hypot(
  LAID_DEG, CAMERA_IN_CASE_DEG, ROUNDED_DEG, ROUNDED_DEG / Math.SQRT2);
// Hand tremor lasts about a tenth of a second: so many independent samples (our choice).
const INDEPENDENT = 5;
const SAVED = 'countersight-tilt';

const DEG = 180 / Math.PI;
const length = (v) => Math.hypot(...v);
const unit = (v) => v.map((x) => x / length(v));
const mean = (vs) => [0, 1, 2].map((k) => vs.reduce((sum, v) => sum + v[k], 0) / vs.length);
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const angle = (a, b) => DEG * Math.acos(Math.min(1, Math.max(-1, dot(unit(a), unit(b)))));

/** Device axes to camera axes, negated, for a picture upright on a screen turned by `degrees`. */
export function toCamera([x, y, z], degrees) {
  const c = Math.cos(degrees / DEG), s = Math.sin(degrees / DEG);
  return [-(x * c - y * s), x * s + y * c, z];
}

/** What the samples of one window say: direction in device axes and how still it was. */
export function averaged(samples, fromMs, toMs) {
  const inside = samples.filter((s) => s.t > fromMs && s.t <= toMs);
  if (inside.length < FEWEST || inside.at(-1).t - inside[0].t < 0.8 * (toMs - fromMs)) return null;
  const middle = mean(inside.map((s) => s.v));
  const spread = Math.sqrt(inside.reduce((sum, s) => sum + angle(s.v, middle) ** 2, 0)
    / inside.length);
  const g = length(middle) / STANDARD_GRAVITY;
  return {v: unit(middle), spread, still: spread < MOVING_DEG && g > LENGTH[0] && g < LENGTH[1]};
}

/**
 * What the sensor tells of its own where nothing leans: from two positions, the phone turned
 * round its long axis in between, its long edge at the same upright line both times.
 *
 * The line's own lean changes sign between the two and goes (reversal: C. J. Evans,
 * R. J. Hocken, W. T. Estler, CIRP Annals 45 (1996) 617, from memory; two positions of an
 * accelerometer: application note AN-1057).  `v` are unit vectors in device axes.
 */
export function ownTilt(first, second) {
  const along = Math.sign(first[1]) === Math.sign(second[1]) ? 1 : -1;
  const x = (first[0] + second[0]) / 2, z = (first[2] + second[2]) / 2;
  const lean = DEG * Math.hypot(first[0] - second[0], first[2] - second[2]) / 2;
  const own = DEG * Math.hypot(x, z);
  if (along < 0) return {problem: 'Keep the same end up both times.'};
  if (Math.min(Math.abs(first[1]), Math.abs(second[1])) < 0.99 || lean > 3) {
    return {problem: 'The phone did not stand upright both times; lay a long edge along the line.'};
  }
  // Far beyond what a sensor is off: it was not turned round, or not laid against the line.
  if (own > 4) return {problem: 'The two positions do not fit together; try again.'};
  return {tilt: [x, 0, z]};
}

/** Whether a browser that asks nobody keeps the sensor back; some do not know how to tell. */
async function blocked() {
  try {
    return (await navigator.permissions.query({name: 'accelerometer'})).state === 'denied';
  } catch { return false; }
}

/** Listens to the sensor while the camera runs. */
export class Down {
  samples = [];
  sign = 0;  // +1 where the sensor tells up, -1 where it tells down, 0 not settled
  own = null;

  constructor() {
    try {
      const kept = JSON.parse(localStorage.getItem(SAVED));
      if (kept?.length === 3 && kept.every(Number.isFinite) && length(kept) < 0.08) this.own = kept;
    } catch { /* nothing kept, or keeping is not allowed */ }
  }

  /** Asks where asking is needed; has to be called in a tap.  Resolves to a sentence or "". */
  async start() {
    if (!('DeviceMotionEvent' in window)) return 'This device does not tell how it is tilted.';
    try {
      const said = await DeviceMotionEvent.requestPermission?.();
      if (said === 'denied' || await blocked()) return 'The tilt of the phone was not allowed.';
    } catch { return 'The tilt of the phone was not allowed.'; }
    this.stop();
    this.hear = (event) => this.add(event.accelerationIncludingGravity, performance.now());
    window.addEventListener('devicemotion', this.hear);
    return '';
  }

  stop() {
    if (this.hear) window.removeEventListener('devicemotion', this.hear);
    this.samples = [];
  }

  add(a, t) {
    if (!a || ![a.x, a.y, a.z].every(Number.isFinite) || length([a.x, a.y, a.z]) < 1) return;
    this.samples.push({t, v: [a.x, a.y, a.z]});
    while (this.samples[0].t < t - 4 * WINDOW_MS) this.samples.shift();
  }

  get works() { return this.samples.length > 0; }

  /** Over the half second up to `t`: null without a sensor. */
  raw(t = performance.now()) { return averaged(this.samples, t - WINDOW_MS, t); }

  /**
   * Down in the camera's frame: {v, sd_deg, still, calibrated}, null where it is not known.
   *
   * The sign settles itself whenever the picture is held more upright than lying: down is down
   * in a picture that its holder sees upright.
   */
  now(t = performance.now()) {
    const raw = this.raw(t);
    if (!raw) return null;
    const v = this.own ? unit(raw.v.map((x, k) => x - this.own[k])) : raw.v;
    const camera = toCamera(v, screen.orientation?.angle ?? window.orientation ?? 0);
    if (Math.abs(camera[1]) > 0.7) this.sign = Math.sign(camera[1]);
    if (!this.sign) return null;
    const base = this.own ? CALIBRATED_SD_DEG : PLAIN_SD_DEG;
    return {v: camera.map((x) => x * this.sign), still: raw.still, calibrated: this.own !== null,
      sd_deg: Math.hypot(base, raw.spread / Math.sqrt(INDEPENDENT))};
  }

  keep(tilt) {
    this.own = tilt;
    try { localStorage.setItem(SAVED, JSON.stringify(tilt)); } catch { /* for this visit only */ }
  }
}
