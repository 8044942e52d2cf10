"""The direction of gravity in the camera's frame, fused from every plumb cue.

One line of a photo only says in which plane gravity lies; two lines that are not
parallel in the picture, or a line and a card, say the direction.  Each cue is a
body whose own axis is off plumb by a small unknown amount with a stated
tolerance.  The estimate is generalised least squares in the two angles of the
direction (C. F. Gauss / A. C. Aitken; JCGM 102:2011 for correlated inputs); a
cue that contradicts the others is left out, and where nobody can tell which one
is wrong the uncertainty grows by the Birge ratio (R. T. Birge, Phys. Rev. 40,
1932, 207).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.parameters import (
    CUES_DISAGREE_P,
    CUES_WIDEN_P,
    LONE_CUE,
    OPEN_DEG,
    SAYS_NOTHING_DEG,
)
from vision.vertical.cue import CueName, PlumbCue, cue_of, line_plane


@dataclass(frozen=True)
class Gravity:
    """Downward unit vector in the camera frame (x right, y down, z forwards).

    ``basis`` (3, 2) spans the plane square to it; ``covariance`` (2, 2) is in rad
    along that basis.  ``parts_rad2`` gives each used cue's share of the variance
    along any direction through :meth:`share`.  ``free`` is the number of degrees of
    freedom of ``chi_square``; ``excess`` is chi-square less its degrees of freedom
    while every cue was still in, for weighing one way to see the photo against another.
    """

    down: np.ndarray
    basis: np.ndarray
    covariance: np.ndarray
    used: tuple[PlumbCue, ...]
    rejected: tuple[PlumbCue, ...]
    chi_square: float
    free: int
    excess: float
    inflation: float
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
        return float(np.sqrt(max(a @ self.gains[index][1] @ a, 0.0)) * np.sqrt(self.inflation))


def tangent(down: np.ndarray) -> np.ndarray:
    """(3, 2) orthonormal basis square to a unit vector."""
    first = np.cross(down, [0.0, 0.0, 1.0])
    if np.linalg.norm(first) < 1e-6:
        first = np.cross(down, [1.0, 0.0, 0.0])
    first = first / np.linalg.norm(first)
    return np.column_stack([first, np.cross(down, first)])


def _rows(cue: PlumbCue, camera: np.ndarray, down: np.ndarray
          ) -> tuple[np.ndarray, np.ndarray]:
    """Constraints a . down = 0 of one cue: (k, 3) rows and their (k, k) covariance.

    All that is seen of one body shares how far that body is off plumb.
    """
    from scipy.linalg import block_diag

    a, noise = _sighting(cue, camera, down)
    for other in cue.elsewhere:
        turned = other.turn @ down
        b, b_noise = _sighting(other.cue, other.camera, turned)
        spread = np.cross(turned, b)
        a = np.vstack([a, b @ other.turn])
        noise = block_diag(noise, b_noise + spread @ other.turn_covariance @ spread.T)
    side, out = np.radians(cue.sideways_deg), np.radians(cue.outwards_deg)
    # Across and along the line of sight: all that is known without a card.
    across, along = tangent(down).T if cue.pose is None else cue.pose.rotation[:, [0, 2]].T
    lean = side**2 * np.outer(across, across) + out**2 * np.outer(along, along)
    return a, noise + a @ lean @ a.T


def _sighting(cue: PlumbCue, camera: np.ndarray, down: np.ndarray
              ) -> tuple[np.ndarray, np.ndarray]:
    """Rows of one cue in one photo, and the covariance of what is measured there."""
    rows: list[np.ndarray] = []
    noise: list[float] = []
    for ends, sd in zip(cue.lines_px, cue.line_sd_px, strict=True):
        n = line_plane(ends, camera)
        variance = 0.0
        for end in (0, 1):
            u = ends[1] - ends[0]
            across = np.array([u[1], -u[0]]) / np.linalg.norm(u)
            moved = ends.copy()
            moved[end] += 0.1 * across
            variance += (float((line_plane(moved, camera) - n) @ down) / 0.1 * sd) ** 2
        rows.append(n)
        noise.append(variance)
    covariance = np.diag(noise) if noise else np.zeros((0, 0))
    if cue.pose is not None:
        x, z = cue.pose.rotation[:, 0], cue.pose.rotation[:, 2]
        spread = np.vstack([np.cross(x, down), np.cross(z, down)])
        card = spread @ cue.pose.covariance[:3, :3] @ spread.T + np.eye(2) * np.radians(0.03) ** 2
        rows += [x, z]
        covariance = np.block([
            [covariance, np.zeros((len(noise), 2))], [np.zeros((2, len(noise))), card]])
    if cue.direction is not None:
        rows += list(tangent(cue.direction).T)
        covariance = np.eye(2) * np.radians(cue.direction_sd_deg) ** 2
    return np.array(rows).reshape(-1, 3), covariance


#: Direction, basis, covariance, chi-square, degrees of freedom, gains by cue.
_Solution = tuple[np.ndarray, np.ndarray, np.ndarray, float, int, list[tuple[CueName, np.ndarray]]]


def _solve(cues: list[PlumbCue], camera: np.ndarray, start: np.ndarray) -> _Solution | None:
    """Least squares in the two angles; None when the cues leave the direction open."""
    down = start
    for _ in range(6):
        basis = tangent(down)
        normal, rhs = np.zeros((2, 2)), np.zeros(2)
        chi, count = 0.0, 0
        blocks = []
        for cue in cues:
            a, cov = _rows(cue, camera, down)
            weight = np.linalg.inv(cov + 1e-12 * np.eye(len(a)))
            design = a @ basis
            r = -(a @ down)
            normal += design.T @ weight @ design
            rhs += design.T @ weight @ r
            chi += float(r @ weight @ r)
            count += len(a)
            blocks.append((cue.name, design.T @ weight @ design))
        if np.linalg.eigvalsh(normal)[0] < 1.0 / np.radians(OPEN_DEG) ** 2:
            return None
        covariance = np.linalg.inv(normal)
        step = covariance @ rhs
        down = down + basis @ step
        down = down / np.linalg.norm(down)
        if np.linalg.norm(step) < 1e-7:
            break
    gains = [(name, covariance @ b @ covariance) for name, b in blocks]
    return down, basis, covariance, chi, count - 2, gains


def _less_of(cue: PlumbCue) -> list[list[PlumbCue]]:
    """What can stay of a cue that is doubted: of a panel its card, else nothing."""
    if cue.pose is not None and cue.lines_px:
        return [[cue_of("zero card", [], cue.pose)], []]
    return [[]]


def at_odds_with_itself(cue: PlumbCue, camera: np.ndarray, start: np.ndarray) -> bool:
    """True when the lines of a panel and the card on it cannot be on one rigid body.

    Then the lines are those of something else, whatever the other cues say.
    """
    from scipy.special import chdtrc  # the upper tail of chi-square

    alone = _solve([cue], camera, start)
    return alone is not None and alone[4] > 0 and bool(chdtrc(alone[4], alone[3]) < CUES_DISAGREE_P)


def _witnessed(rest: _Solution, everything: _Solution) -> bool:
    """True when of ``rest`` each cue is checked by the others in what the one left out denies.

    A cord and a pole check one another sideways; how the pole leans towards the phone no
    cord says, so against the panel it stands there alone.
    """
    basis, covariance, gains = rest[1], rest[2], rest[5]
    normal = np.linalg.inv(covariance)
    # What the one left out pulls at: its residuals, carried over to the two angles, are the
    # information of the rest times the step that they cause (R. E. Kalman, J. Basic Eng. 82,
    # 1960, 35).
    pull = normal @ basis.T @ (everything[0] - rest[0])
    length = float(np.linalg.norm(pull))
    if length == 0:
        return True
    pull /= length
    weak = np.eye(2) / np.radians(SAYS_NOTHING_DEG) ** 2
    doubt = [float(pull @ np.linalg.inv(normal - normal @ gain @ normal + weak) @ pull)
             for _, gain in gains]
    return max(doubt) < np.radians(SAYS_NOTHING_DEG) ** 2 / 2


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
    JCGM 102:2011 (correlated inputs); R. T. Birge, Phys. Rev. 40, 1932, 207 (the factor by
    which the uncertainty grows where cues disagree).
    """
    from scipy.special import chdtrc  # the upper tail of chi-square

    used, rejected = list(cues), []
    solved = _solve(used, camera, start) if used else None
    excess = 0.0 if solved is None else solved[3] - solved[4]
    while solved is not None and solved[4] > 0 and chdtrc(solved[4], solved[3]) < CUES_DISAGREE_P:
        tries: list[tuple[float, int, PlumbCue, list[PlumbCue], _Solution]] = []
        for i, cue in enumerate(used):
            for instead in _less_of(cue):
                rest = used[:i] + instead + used[i + 1:]
                again = _solve(rest, camera, start) if len(rest) > 1 else None
                # What leaves nothing to check proves nothing: two lines always meet.
                if again is not None and again[4] > 0 and (
                        instead and at_odds_with_itself(cue, camera, start)
                        or _witnessed(again, solved)):
                    tries.append((chdtrc(again[4], again[3]), -len(tries), cue, rest, again))
        if not tries or max(t[0] for t in tries) < CUES_WIDEN_P:
            break
        _, _, left_out, used, solved = max(tries, key=lambda t: (t[0], t[1]))
        rejected.append(left_out)
    if solved is None:
        return None
    down, basis, covariance, chi, free, gains = solved
    inflation = LONE_CUE**2 if len(used) == 1 else 1.0
    if free > 0 and chdtrc(free, chi) < CUES_WIDEN_P:
        inflation = max(inflation, chi / free)
    return Gravity(down, basis, covariance * inflation, tuple(used), tuple(rejected), chi,
                   free, excess, inflation, tuple(gains))
