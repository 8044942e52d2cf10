"""The direction of gravity in the camera's frame, fused from every plumb cue.

One line of a photo only says in which plane gravity lies; two lines that are not
parallel in the picture, or a line and a card, say the direction.  Each cue is a
body whose own axis is off plumb by a small unknown amount with a stated
tolerance, or, with a small probability, by far more: a pole that leans, a door taken
for a panel's side.  Nobody is voted out.  Each combination of good and bad cues is a case with
its own answer, by generalised least squares in the two angles of the direction
(C. F. Gauss / A. C. Aitken; JCGM 102:2011 for correlated inputs), and with the weight that the
cues themselves give it (Bayes' theorem; mixtures of good and bad measurements: D. W. Hogg,
J. Bovy, D. Lang, arXiv:1008.4686, 2010, section 3, from memory).  Where cues disagree the cases
lie apart, and what is drawn from them covers both answers.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from vision.fiducials.pose import cross
from vision.parameters import (
    CARD_LAID_DEG,
    CUES_DISAGREE_P,
    FALSE_LINES_P,
    LEANS_DEG,
    LEANS_P,
    OPEN_DEG,
    START_DEG,
)
from vision.vertical.cue import TOLERANCE_DEG, CueName, PlumbCue, cue_of, line_plane

#: With more cues than the first only so many are taken to be bad at once as the second says:
#: the combinations of many bodies, seen in several photos, would be countless.
_ALL_COMBINED, _BAD_AT_ONCE = 6, 2
#: Cases with less weight are not followed.
_LEAST_WEIGHT = 1e-4
#: A card that stands for itself is as flat as this, deg.
_PAPER_DEG = 0.03
#: Steps to the likeliest case, at most, and one that is small enough to stop (rad).
_MOST_STEPS, _SMALL_STEP = 5, 1e-6


@dataclass(frozen=True)
class Case:
    """One combination of good and bad cues: its ``weight``, the answer as a ``tilt`` (2,) from
    that of the likeliest, and the ``covariance`` (2, 2) of that answer, rad."""

    weight: float
    tilt: np.ndarray
    covariance: np.ndarray


@dataclass(frozen=True)
class Gravity:
    """Downward unit vector in the camera frame (x right, y down, z forwards).

    ``down`` is the answer of the likeliest of the ``cases``, ``basis`` (3, 2) spans the plane
    square to it; ``covariance`` (2, 2) is that of all cases about it, in rad along that basis.
    ``used`` are the cues that are rather good, ``rejected`` those that are rather bad; of a
    panel whose lines are another thing's its card is used.  ``bad_p`` is the probability that
    any is bad.
    ``chi_square``, with ``free`` degrees of freedom, is their misfit if all are good;
    ``excess`` says how badly the cues go together with all that may be wrong with them, as a
    chi-square less its degrees of freedom, for weighing one way to see the photo against another.
    ``gains`` is the part of each used cue in the likeliest case, see :meth:`share`.
    """

    down: np.ndarray
    basis: np.ndarray
    covariance: np.ndarray
    cases: tuple[Case, ...]
    used: tuple[PlumbCue, ...]
    rejected: tuple[PlumbCue, ...]
    bad_p: float
    chi_square: float
    free: int
    excess: float
    gains: tuple[tuple[CueName, np.ndarray], ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the cues used."""
        return tuple(dict.fromkeys(c.name for c in self.used))

    def sd_deg(self, along: np.ndarray) -> float:
        """Standard uncertainty (degrees) of the angle towards a (3,) unit direction."""
        a = self.basis.T @ along
        return float(np.degrees(np.sqrt(a @ self.covariance @ a)))

    def share(self, index: int, along: np.ndarray) -> float:
        """Standard uncertainty (rad) that cue ``index`` of ``gains`` adds along a direction."""
        a = self.basis.T @ along
        return float(np.sqrt(max(a @ self.gains[index][1] @ a, 0.0)))

    def doubt(self, along: np.ndarray) -> float:
        """Standard uncertainty (rad) along a direction because one of the cues may be bad:
        what :meth:`share` of all cues leaves of the whole."""
        a = self.basis.T @ along
        told = sum(self.share(i, along) ** 2 for i in range(len(self.gains)))
        return float(np.sqrt(max(a @ self.covariance @ a - told, 0.0)))

    def draw(self, n: int, rng: np.random.Generator) -> np.ndarray:
        """(n, 3) unit vectors down, each from a case drawn by its weight."""
        weights = np.array([c.weight for c in self.cases])
        which = rng.choice(len(weights), n, p=weights / weights.sum())
        spread = np.linalg.cholesky(np.array([c.covariance for c in self.cases]))[which]
        tilt = np.array([c.tilt for c in self.cases])[which] + np.squeeze(
            spread @ rng.normal(0.0, 1.0, (n, 2, 1)), -1)
        down = self.down + tilt @ self.basis.T
        return np.asarray(down / np.linalg.norm(down, axis=1, keepdims=True))


def tangent(down: np.ndarray) -> np.ndarray:
    """(3, 2) orthonormal basis square to a unit vector."""
    first = cross(down, np.array([0.0, 0.0, 1.0]))
    if np.linalg.norm(first) < 1e-6:
        first = cross(down, np.array([1.0, 0.0, 0.0]))
    first = first / np.linalg.norm(first)
    return np.column_stack([first, cross(down, first)])


@dataclass(frozen=True)
class _Sight:
    """What one photo shows of one cue, whichever way is down: ``rows`` (k, 3) with a . down = 0 and
    by how much an end of a line shifts them, ``moved`` (lines, 2, 3); the rows of the card that it
    carries and the covariance of its turn."""

    rows: np.ndarray
    moved: np.ndarray
    card: np.ndarray
    turn_covariance: np.ndarray
    told_sd_deg: float

    def noise(self, down: np.ndarray) -> np.ndarray:
        """(k, k) covariance of the rows' misfit from what is measured."""
        lines, cards = len(self.moved), len(self.card)
        out = np.zeros((len(self.rows), len(self.rows)))
        out[range(lines), range(lines)] = np.sum((self.moved @ down) ** 2, axis=1)
        if cards:
            spread = cross(self.card, down)
            out[lines:, lines:] = spread @ self.turn_covariance @ spread.T
        rest = np.arange(lines, len(self.rows))
        out[rest, rest] += np.radians(self.told_sd_deg) ** 2
        return out


def _sights(cue: PlumbCue, camera: np.ndarray) -> tuple[_Sight, ...]:
    """What is seen of a cue: here, and in the other photos that show it."""
    return tuple(_sight(c, k) for c, k in (
        (cue, camera), *((o.cue, o.camera) for o in cue.elsewhere)))


def _rows(cue: PlumbCue, sights: tuple[_Sight, ...], down: np.ndarray
          ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Constraints a . down = 0 of one cue: (k, 3) rows, the (k, k) covariance of what is
    measured, and which (k,) of the rows are lines."""
    from scipy.linalg import block_diag

    a, noise = sights[0].rows, sights[0].noise(down)
    lines = np.arange(len(a)) < len(sights[0].moved)
    for other, sight in zip(cue.elsewhere, sights[1:], strict=True):
        turned = other.turn @ down
        spread = cross(turned, sight.rows)
        a = np.vstack([a, sight.rows @ other.turn])
        noise = block_diag(noise, sight.noise(turned) + spread @ other.turn_covariance @ spread.T)
        lines = np.append(lines, np.arange(len(sight.rows)) < len(sight.moved))
    return a, noise, lines


def _off(cue: PlumbCue, down: np.ndarray, a: np.ndarray, sideways_deg: float,
         outwards_deg: float) -> np.ndarray:
    """(k, k) covariance of a cue's rows from how far its body is off plumb, which all that is
    seen of the body shares."""
    # Across and along the line of sight: all that is known without a card.
    across, along = tangent(down).T if cue.pose is None else cue.pose.rotation[:, [0, 2]].T
    side, out = np.radians([sideways_deg, outwards_deg])
    return np.asarray(a @ (side**2 * np.outer(across, across)
                           + out**2 * np.outer(along, along)) @ a.T)


def _sight(cue: PlumbCue, camera: np.ndarray) -> _Sight:
    """What one photo shows of one cue."""
    rows: list[np.ndarray] = []
    moved: list[list[np.ndarray]] = []
    for ends, sd in zip(cue.lines_px, cue.line_sd_px, strict=True):
        n = line_plane(ends, camera)
        u = ends[1] - ends[0]
        across = np.array([u[1], -u[0]]) / np.linalg.norm(u)
        shifts = []
        for end in (0, 1):
            other = ends.copy()
            other[end] += 0.1 * across
            shifts.append((line_plane(other, camera) - n) / 0.1 * sd)
        rows.append(n)
        moved.append(shifts)
    card, turn_covariance, told_sd = np.zeros((0, 3)), np.zeros((3, 3)), 0.0
    if cue.pose is not None:
        card = cue.pose.rotation[:, [0, 2]].T
        turn_covariance = cue.pose.covariance[:3, :3]
        told_sd = CARD_LAID_DEG if cue.lines_px else _PAPER_DEG
        rows += list(card)
    if cue.direction is not None:
        rows, told_sd = list(tangent(cue.direction).T), cue.direction_sd_deg
    return _Sight(np.array(rows).reshape(-1, 3), np.array(moved).reshape(-1, 2, 3), card,
                  turn_covariance, told_sd)


@dataclass(frozen=True)
class _State:
    """What one cue says if it is good, or bad in one way: how many rows, logs of the probability
    of that way and of the determinant of the rows' covariance, the normal equations for the two
    angles."""

    rows: int
    log_p: float
    log_det: float
    normal: np.ndarray
    pull: np.ndarray
    chi_square: float


def _states(cue: PlumbCue, sights: tuple[_Sight, ...], down: np.ndarray, basis: np.ndarray
            ) -> list[_State]:
    """A cue as it may be, the good one first."""
    a, noise, lines = _rows(cue, sights, down)
    design, r = a @ basis, -(a @ down)
    own = np.array([cue.sideways_deg, cue.outwards_deg])
    ways = [(LEANS_P[cue.name], noise + _off(cue, down, a, *np.hypot(own, LEANS_DEG)))]
    if lines.sum() > 1:
        # Each line is another thing's; what is left is the card, if it carries one.
        false = np.diag(np.where(lines, np.radians(LEANS_DEG) ** 2, 0.0))
        ways.append((FALSE_LINES_P, noise + false + _off(cue, down, a, *(
            own if cue.pose is None else TOLERANCE_DEG["zero card"]))))
    ways.insert(0, (1.0 - sum(q for q, _ in ways), noise + _off(cue, down, a, *own)))
    out = []
    for probability, covariance in ways:
        covariance = covariance + 1e-12 * np.eye(len(a))
        weight = np.linalg.inv(covariance)
        log_det = float(np.linalg.slogdet(covariance)[1])
        out.append(_State(len(a), float(np.log(probability)), log_det, design.T @ weight @ design,
                          design.T @ weight @ r, float(r @ weight @ r)))
    return out


def _chosen(count: list[int]) -> np.ndarray:
    """(K, n) which state each of n cues is in, over all combinations, all good first."""
    n = len(count)
    most = n if n <= _ALL_COMBINED else _BAD_AT_ONCE
    out = []
    for bad in range(most + 1):
        for which in combinations(range(n), bad):
            for states in product(*(range(1, count[i]) for i in which)):
                row = np.zeros(n, int)
                row[list(which)] = states
                out.append(row)
    return np.array(out)


@dataclass(frozen=True)
class _Combined:
    """All combinations: log of their weight (K,), tilt (K, 2), covariance (K, 2, 2), which state
    (K, n) each cue is in; and what the good ones say of themselves."""

    log_weight: np.ndarray
    tilt: np.ndarray
    covariance: np.ndarray
    chosen: np.ndarray
    states: list[list[_State]]
    open: bool
    chi_square: float
    free: int
    log_scale: float


def _combined(seen: list[tuple[PlumbCue, tuple[_Sight, ...]]], down: np.ndarray,
              start: np.ndarray) -> _Combined:
    """Each combination of good and bad cues, as they are seen, linear about ``down``."""
    basis = tangent(down)
    states = [_states(cue, sights, down, basis) for cue, sights in seen]
    chosen = _chosen([len(s) for s in states])
    # Where all is bad, the start still says something.
    weak = np.eye(2) / np.radians(START_DEG) ** 2
    held = basis.T @ (start - down)
    normal = np.broadcast_to(weak, (len(chosen), 2, 2)).copy()
    pull = np.broadcast_to(weak @ held, (len(chosen), 2)).copy()
    chi = np.full(len(chosen), held @ weak @ held)
    log_p, log_det = np.zeros(len(chosen)), np.zeros(len(chosen))
    for i, of_cue in enumerate(states):
        which = chosen[:, i]
        normal += np.array([s.normal for s in of_cue])[which]
        pull += np.array([s.pull for s in of_cue])[which]
        chi += np.array([s.chi_square for s in of_cue])[which]
        log_p += np.array([s.log_p for s in of_cue])[which]
        log_det += np.array([s.log_det for s in of_cue])[which]
    covariance = np.linalg.inv(normal)
    tilt = np.squeeze(covariance @ pull[:, :, None], -1)
    chi = chi - np.sum(pull * tilt, axis=1)
    log_det = log_det - np.linalg.slogdet(covariance)[1]
    least = float(np.linalg.eigvalsh(normal[0] - weak)[0])
    return _Combined(log_p - (chi + log_det) / 2, tilt, covariance, chosen, states,
                     least < 1.0 / np.radians(OPEN_DEG) ** 2, float(chi[0]),
                     sum(s[0].rows for s in states) - 2, float(log_det[0]))


def at_odds_with_itself(cue: PlumbCue, camera: np.ndarray, start: np.ndarray) -> bool:
    """True when the lines of a panel and the card on it cannot be on one rigid body.

    Then the lines are those of something else, whatever the other cues say.
    """
    from scipy.special import chdtrc  # the upper tail of chi-square

    gravity = fuse([cue], camera, start)
    return (gravity is not None and gravity.free > 0
            and bool(chdtrc(gravity.free, gravity.chi_square) < CUES_DISAGREE_P))


def fuse(cues: list[PlumbCue], camera: np.ndarray, start: np.ndarray) -> Gravity | None:
    """Gravity from plumb cues.

    Parameters
    ----------
    cues : list of PlumbCue
        Bodies that should be plumb, in pixels of the picture that ``camera`` belongs to.
    camera : (3, 3) array
    start : (3,) array
        A rough downward direction; camera frame: x right, y down, z forwards.

    Returns
    -------
    Gravity or None
        None when the cues do not settle a direction.

    References
    ----------
    JCGM 102:2011 (correlated inputs); D. W. Hogg, J. Bovy, D. Lang, arXiv:1008.4686, 2010,
    section 3 (a mixture of good and bad measurements; from memory).
    """
    if not cues:
        return None
    down = start / np.linalg.norm(start)
    seen = [(cue, _sights(cue, camera)) for cue in cues]
    found = _combined(seen, down, start)
    for _ in range(_MOST_STEPS):
        step = found.tilt[int(np.argmax(found.log_weight))]
        down = down + tangent(down) @ step
        down = down / np.linalg.norm(down)
        found = _combined(seen, down, start)
        if np.linalg.norm(step) < _SMALL_STEP:
            break
    return None if found.open else _gravity(cues, found, down)


def _gravity(cues: list[PlumbCue], found: _Combined, about: np.ndarray) -> Gravity:
    """All combinations, linear about a direction, as one answer."""
    weight = np.exp(found.log_weight - found.log_weight.max())
    total = float(weight.sum())
    weight = weight / total
    likeliest = int(np.argmax(weight))
    best = found.tilt[likeliest]
    down = about + tangent(about) @ best
    down = down / np.linalg.norm(down)
    basis = tangent(down)
    turn = basis.T @ tangent(about)
    cases = tuple(Case(float(w), turn @ (tilt - best), turn @ covariance @ turn.T)
                  for w, tilt, covariance in zip(weight, found.tilt, found.covariance, strict=True)
                  if w > _LEAST_WEIGHT)
    whole = sum(c.weight for c in cases)
    covariance = sum((c.weight / whole * (c.covariance + np.outer(c.tilt, c.tilt)) for c in cases),
                     np.zeros((2, 2)))
    used, rejected, gains = [], [], []
    for i, cue in enumerate(cues):
        good, false = (float(weight[found.chosen[:, i] == k].sum()) for k in (0, 2))
        if good < 0.5:
            rejected.append(cue)
            if cue.pose is None or false < 0.5:
                continue
            cue = cue_of("zero card", [], cue.pose)
        used.append(cue)
        state = found.states[i][found.chosen[likeliest, i]]
        own = turn @ found.covariance[likeliest]
        gains.append((cue.name, own @ state.normal @ own.T))
    log_total = float(found.log_weight.max() + np.log(total))
    excess = -2.0 * log_total - found.log_scale - found.free
    return Gravity(down, basis, covariance, cases, tuple(used), tuple(rejected),
                   1.0 - float(weight[0]), found.chi_square, found.free, excess, tuple(gains))
