// Frames of the live picture: caught, weighed by sharpness, kept for the heights passed through.

// A frame from so much another height says something of its own about the level, deg.
const APART_DEG = 4;
// Fluid may run: an older frame is of another moment (our choice).
const OLDEST_MS = 30_000;
const MOST_PASSED = 2;

/** A canvas of the given size. */
export function canvas(width, height) {
  const made = document.createElement('canvas');
  made.width = width; made.height = height;
  return made;
}

/** `source` drawn so that its longer side has `most` pixels at most. */
export function smaller(source, width, height, most) {
  const k = Math.min(1, most / Math.max(width, height));
  const made = canvas(Math.round(width * k), Math.round(height * k));
  made.getContext('2d', {willReadFrequently: true}).drawImage(source, 0, 0, made.width, made.height);
  return made;
}

export const jpeg = (from, quality = 0.92) => new Promise(
  (done) => from.toBlob(done, 'image/jpeg', quality));

/** Mean squared Laplacian over squared mean light: larger is sharper, for one scene. */
export function sharpness(source, width, height) {
  const small = smaller(source, width, height, 640);
  const {data} = small.getContext('2d').getImageData(0, 0, small.width, small.height);
  const w = small.width, n = w * small.height, grey = new Float32Array(n);
  let light = 1;
  for (let i = 0; i < n; i++) { grey[i] = data[4 * i + 1]; light += grey[i]; }
  let sum = 0;
  for (let i = w + 1; i < n - w - 1; i++) {
    const l = 4 * grey[i] - grey[i - 1] - grey[i + 1] - grey[i - w] - grey[i + w];
    sum += l * l;
  }
  return sum * n / (light * light);
}

/** The sharpest frame of each height that the phone has passed through; one that knows where
 * down is goes before one that does not. */
export class Passed {
  bins = new Map();

  async offer(full, score, elevation, down, t = performance.now()) {
    const bin = Math.round(elevation / APART_DEG), held = this.bins.get(bin);
    const better = Boolean(down) - Boolean(held?.down) || score - held?.score;
    if (held && better <= 0 && t - held.t < OLDEST_MS) return;
    const blob = await jpeg(full);
    if (blob) this.bins.set(bin, {blob, score, elevation, down, t});
  }

  /** Those that stand apart from `elevation` and from one another, the farthest first. */
  apart(elevation, t = performance.now()) {
    const taken = [elevation];
    return [...this.bins.values()].filter((f) => t - f.t < OLDEST_MS)
      .sort((a, b) => Math.abs(b.elevation - elevation) - Math.abs(a.elevation - elevation))
      .filter((f) => taken.every((e) => Math.abs(e - f.elevation) >= APART_DEG)
        && taken.push(f.elevation))
      .slice(0, MOST_PASSED);
  }

  clear() { this.bins.clear(); }
}
