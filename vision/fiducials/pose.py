"""Where a card stands in the camera's frame, with both answers a square allows.

Camera frame: x right, y down, z forwards, millimetres.  A small square seen
nearly head on fits almost equally well when tilted the other way (G. Schweighofer,
A. Pinz, Robust pose estimation from a planar target, IEEE PAMI 28, 2006); both
poses are kept with their misfit and the caller weighs them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.fiducials.cards import CardKind, CardSeen, card_corners_mm


@dataclass(frozen=True)
class CardPose:
    """A pose that explains the four corners.

    ``rotation`` (3, 3) has the card's x, y, z axes as columns, ``centre_mm`` (3,)
    is the card's origin; ``covariance`` (6, 6) belongs to a small rotation vector
    (camera frame, rad) and the centre (mm); ``misfit`` is the chi-square of the
    corners.
    """

    rotation: np.ndarray
    centre_mm: np.ndarray
    covariance: np.ndarray
    misfit: float

    def point(self, at_mm: tuple[float, float]) -> np.ndarray:
        """(3,) camera coordinates of a point of the card's plane."""
        return np.asarray(self.centre_mm + self.rotation[:, 0] * at_mm[0]
                          + self.rotation[:, 1] * at_mm[1])


def camera_matrix(focal_px: float, width: int, height: int) -> np.ndarray:
    """(3, 3) pinhole camera with the axis through the middle of the picture."""
    return np.array([[focal_px, 0, (width - 1) / 2], [0, focal_px, (height - 1) / 2], [0, 0, 1.0]])


def card_poses(seen: CardSeen, kind: CardKind, camera: np.ndarray) -> list[CardPose]:
    """Where a card may stand before the camera.

    Several solvers start the search because the closed-form one for squares is
    several degrees off when the camera looks straight at the card.

    Parameters
    ----------
    seen : CardSeen
        Corners with their covariance, in the pixels that ``camera`` belongs to.
    kind : CardKind
        Its size in mm.
    camera : (3, 3) array
        Pinhole camera, as from :func:`camera_matrix`.

    Returns
    -------
    list of CardPose
        One or two, best first; none when no solver finds the card before the lens.  Camera
        frame: x right, y down, z forwards, mm.

    References
    ----------
    G. Schweighofer, A. Pinz, Robust pose estimation from a planar target, IEEE PAMI 28, 2006.
    """
    corners = card_corners_mm(kind.side_mm)
    whiten = np.linalg.cholesky(np.linalg.inv(seen.covariance_px2)).T
    poses: list[CardPose] = []
    for rotation, centre in _starts(corners, seen.corners_px, camera):
        pose = _settled(rotation, centre, corners, seen.corners_px, camera, whiten)
        if pose is None or any(_same(pose, p) for p in poses):
            continue
        poses.append(pose)
    poses.sort(key=lambda p: p.misfit)
    return poses[:2]


def _starts(corners: np.ndarray, pixels: np.ndarray, camera: np.ndarray
            ) -> list[tuple[np.ndarray, np.ndarray]]:
    import cv2

    out = []
    for flag in (cv2.SOLVEPNP_IPPE, cv2.SOLVEPNP_SQPNP, cv2.SOLVEPNP_ITERATIVE):
        try:
            _, rv, tv, _ = cv2.solvePnPGeneric(corners, pixels, camera, None, flags=flag)
        except cv2.error:
            continue
        for r, t in zip(rv, tv, strict=True):
            r, t = np.asarray(r, dtype=float).ravel(), np.asarray(t, dtype=float).ravel()
            if np.all(np.isfinite(r)) and np.all(np.isfinite(t)) and t[2] > 0:
                out.append((np.asarray(cv2.Rodrigues(r)[0]), t))
    # The mirror of each answer across its line of sight is the usual second one.
    for rotation, t in list(out):
        sight = t / np.linalg.norm(t)
        half_turn = 2 * np.outer(sight, sight) - np.eye(3)
        flat = half_turn @ rotation @ np.diag([-1.0, -1.0, 1.0])
        out.append((flat, t))
    return out


def _project(rotation: np.ndarray, centre: np.ndarray, corners: np.ndarray, camera: np.ndarray
             ) -> tuple[np.ndarray, np.ndarray]:
    """Pixels (4, 2) of the corners and their (8, 6) Jacobian."""
    arm = corners @ rotation.T
    p = arm + centre
    f, z = camera[0, 0], p[:, 2]
    pixels = np.column_stack([f * p[:, 0] / z + camera[0, 2], f * p[:, 1] / z + camera[1, 2]])
    slope = np.zeros((4, 2, 3))
    slope[:, 0, 0] = slope[:, 1, 1] = f / z
    slope[:, :, 2] = -f * p[:, :2] / z[:, None] ** 2
    jac = np.concatenate([cross(arm[:, None, :], slope), slope], axis=2)
    return pixels, jac.reshape(8, 6)


def cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """(..., 3) cross products of (..., 3) with (..., 3): as NumPy's, which takes several times as
    long for so few."""
    ax, ay, az = a[..., 0], a[..., 1], a[..., 2]
    bx, by, bz = b[..., 0], b[..., 1], b[..., 2]
    return np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx], axis=-1)


def turned(rotation: np.ndarray, by: np.ndarray) -> np.ndarray:
    """A rotation turned on by a small rotation vector (camera frame, rad)."""
    import cv2

    return np.asarray(cv2.Rodrigues(np.asarray(by, dtype=float))[0] @ rotation)


def _settled(rotation: np.ndarray, centre: np.ndarray, corners: np.ndarray, pixels: np.ndarray,
             camera: np.ndarray, whiten: np.ndarray) -> CardPose | None:
    """Levenberg-Marquardt from a start, in units of the corners' own uncertainty.

    SciPy's comes to the same minimum (tested) in nine times the time (measured), and a photo
    without a focal length asks for hundreds of poses.
    """
    damping = 1e-3
    got, jac = _project(rotation, centre, corners, camera)
    r = whiten @ (got - pixels).ravel()
    cost = float(r @ r)
    for _ in range(40):
        a = whiten @ jac
        normal = a.T @ a
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), a.T @ r)
        new_rotation, new_centre = turned(rotation, step[:3]), centre + step[3:]
        if new_centre[2] <= 1.0:
            return None
        got2, jac2 = _project(new_rotation, new_centre, corners, camera)
        r2 = whiten @ (got2 - pixels).ravel()
        cost2 = float(r2 @ r2)
        if not np.isfinite(cost2):
            return None
        if cost2 < cost:
            done = cost - cost2 < 1e-6 * (1 + cost)
            rotation, centre, jac, r, cost = new_rotation, new_centre, jac2, r2, cost2
            damping = max(damping / 5, 1e-9)
            if done:
                break
        else:
            damping *= 5
            if damping > 1e6:
                break
    if float(rotation[:, 2] @ centre) > 0:
        return None  # would be seen from behind
    a = whiten @ jac
    covariance = np.linalg.inv(a.T @ a + 1e-9 * np.eye(6))
    return CardPose(rotation, centre, covariance, cost)


def _same(a: CardPose, b: CardPose) -> bool:
    """True when two poses differ by less than a degree."""
    cosine = (float(np.trace(a.rotation.T @ b.rotation)) - 1) / 2
    return bool(np.arccos(np.clip(cosine, -1, 1)) < np.radians(1.0))
