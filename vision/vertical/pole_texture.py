"""The lean of a pole from everything that runs along it.

Whatever is seen on a straight round pole runs parallel to its axis: its two sides, its shading
and, since a mirror leaves the part of a ray along the axis as it is, the reflections of lamps and
windows as well.  In the photo the whole band therefore only shifts and widens in proportion to
the height, whatever it looks like, and how much it widens says how the pole leans.  This holds for
poles whose outline cannot be told from a reflection, too.

The band is cut into pieces one above the other.  The light on the pole and the wall left and
right of it change along it, each in its own way, and at the sides blur mixes the two: light adds
up, so each place across the band is so much of the piece's pole light and so much of its wall
light, with the same two shares in all pieces.  Found by least squares are these shares, and the
shift and the widening under which they explain the pieces best (variable projection: G. H. Golub,
V. Pereyra, SIAM J. Numer. Anal. 10, 1973, 413).  As one light in place of two, a pole that is
darker below looks as if it grew thinner there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.imaging.radiometry import LINEAR, LUMINANCE
from vision.robust import spread
from vision.vertical.cue import line_x, pieces_of

_CHUNK_PX = 24
#: Steps across the band (px), and a code value (of 255) from which light is clipped; so far beside
#: it (px) light is made of it too, by the interpolation here and by a phone's sharpening; how much
#: less is sure (a factor) where nothing else is there.  The last from drawn rooms.
_STEP_PX, _CLIPPED, _BESIDE_PX, _BESIDE_DOUBT = 0.5, 253, 2.0, 1.5
#: So far beyond the given lines the outline is looked for (px), where light changes at least this
#: much as strongly as on the strongest place.
_SEARCH_PX, _OUTLINE_SHARE = 18.0, 0.25
#: Where pole and wall mix: beyond each side; within it, first roughly, then as near as blur asks
#: (tried both ways: the answer must not hang on it), as far as this share of the half width; and
#: how far the wall is looked at, px.
_MIX_OUT_PX, _MIX_IN_PX, _MIX_SHARE, _WALL_PX = 6.0, ((7.0,), (3.5, 5.0)), 0.75, 12.0
#: A side is blurred by about this much (px), so that the wall's share beside it is known to this.
_BLUR_PX, _SHARE_SD = 1.0, 0.2
#: Places across the band that err together, in steps.
_PLACE_STEPS = 8
#: Fewest pieces of a band.
_PIECES = 8
#: How far the given lines may be off at their ends: shift and widening, px.
_MOST_PX = 6.0
#: A step that moves the band by less has settled, px; so many steps at most.
_SETTLED_PX, _STEPS = 0.01, 10
#: How unsure a widening may be, px: what says less is wrong more often than it says.  By how much
#: the scatter is too small a doubt (a factor), and what it leaves out, px.  From drawn rooms.
_UNSURE_PX, _SCATTER, _LEFT_OUT_PX = 0.3, 1.2, 0.1
#: Noise that is there even where the picture is even, in 1/255 of white; and as a share of how much
#: light varies: more is no pole before a wall.
_LEAST_NOISE, _UNEXPLAINED = 0.15, 0.15


@dataclass(frozen=True)
class Band:
    """The band between two lines parallel to the pole's axis, (2, 2) px each, which need not be the
    pole's outline; ``sd_px`` is the standard uncertainty of each of the four ends."""

    left_px: np.ndarray
    right_px: np.ndarray
    sd_px: float

    def widening_px(self, other: Band) -> float:
        """By how much wider than above this band would be below if it ran as another one does."""
        gap = (other.right_px - other.left_px)[:, 0]
        share = float((gap[1] - gap[0]) / gap.mean() / np.ptp(other.left_px[:, 1]))
        return share * float((self.right_px - self.left_px)[:, 0].mean()
                             * np.ptp(self.left_px[:, 1]))


def follow_band(rgb: np.ndarray, left_px: np.ndarray, right_px: np.ndarray,
                hidden: tuple[float, float] | None) -> Band | None:
    """The two lines (2, 2) turned so that they run with what is seen of the band between.

    They should be good to some pixels at any height; ``hidden`` is the (top, bottom) between which
    something covers the pole.  None when the pieces do not agree on it.  By how much the light
    beside clipped light changes the answer is a part of its doubt.
    """
    band = _followed(rgb, left_px, right_px, hidden, 0.0)
    if band is None:
        return None
    surer = _followed(rgb, left_px, right_px, hidden, _BESIDE_PX)
    if surer is None:  # all that there is lies beside clipped light
        return replace(band, sd_px=_BESIDE_DOUBT * band.sd_px)
    apart = surer.widening_px(surer) - surer.widening_px(band)
    return replace(surer, sd_px=math.hypot(surer.sd_px, apart / 2))  # made of four ends


def _followed(rgb: np.ndarray, left_px: np.ndarray, right_px: np.ndarray,
              hidden: tuple[float, float] | None, beside_px: float) -> Band | None:
    """As :func:`follow_band`, without what lies so near to clipped light."""
    left, right, sd = left_px, right_px, math.inf
    sure: list[tuple[float, float, float]] = []
    # Roughly first, then about the outline where it really is.
    for attempt in _MIX_IN_PX:
        pieces = _outlined(rgb, left, right, hidden, beside_px)
        if pieces is None:
            return None
        sure = []
        for inwards in attempt:
            answer = pieces.settled(inwards)
            if answer is None:
                return None
            sure.append(answer)
        shift, widen, sd = (float(v) for v in np.mean(sure, axis=0))
        left, right = pieces.moved(shift, widen)
    sd = math.hypot(sd, sure[0][1] - sure[-1][1], _LEFT_OUT_PX)
    # The widening is made of four ends.
    return Band(left, right, sd / 2) if sd < _UNSURE_PX else None


def _outlined(rgb: np.ndarray, left_px: np.ndarray, right_px: np.ndarray,
              hidden: tuple[float, float] | None, beside_px: float) -> _Pieces | None:
    """The pieces of the band between the outline's sides near two lines."""
    found = _pieces(rgb, left_px, right_px, hidden, _SEARCH_PX, beside_px)
    outline = None if found is None else found.outline()
    return None if outline is None else _pieces(rgb, *outline, hidden, _WALL_PX + 4, beside_px)


@dataclass(frozen=True)
class _Pieces:
    """Profiles across the band, (K, N), sampled at ``u`` (N,) halves of its width.

    ``whole`` (K, N) is where light is not clipped; ``y`` (K,) are the heights, ``middle`` and
    ``gap`` (K,) the band's middle and width there in px; ``t`` grows by one from the first to the
    last.
    """

    profiles: np.ndarray
    whole: np.ndarray
    u: np.ndarray
    y: np.ndarray
    middle: np.ndarray
    gap: np.ndarray

    @property
    def t(self) -> np.ndarray:
        return np.asarray((self.y - self.y.mean()) / np.ptp(self.y))

    @property
    def half_px(self) -> float:
        """Half of the band's width, px, about the middle of the photo."""
        return _STEP_PX / float(self.u[1] - self.u[0])

    def outline(self) -> tuple[np.ndarray, np.ndarray] | None:
        """The outermost lines (2, 2) along the band where its light changes in most pieces."""
        change = np.where(self.whole, np.abs(np.gradient(self.profiles, axis=1)), 0.0)
        usual = np.median(change, axis=0)
        sides = []
        for sign in (-1, 1):
            place = np.flatnonzero(sign * self.u > 0.15)[::sign]  # outwards
            strong = np.flatnonzero(usual[place] > _OUTLINE_SHARE * usual[place].max())
            if len(strong) == 0:
                return None
            at = int(strong[-1])
            while at > 0 and usual[place[at - 1]] > usual[place[at]]:
                at -= 1
            x = self.middle + self.u[place[at]] * self.gap / 2
            sides.append(np.column_stack([x, self.y])[[0, -1]])
        return sides[0], sides[1]

    def moved(self, shift: float, widen: float) -> tuple[np.ndarray, np.ndarray]:
        """Left and right line (2, 2) of the band moved by so many px."""
        ends, t = self.y[[0, -1]], self.t[[0, -1]]
        middle = self.middle[[0, -1]] + shift * t
        half = (self.gap[[0, -1]] + widen * t) / 2
        return np.column_stack([middle - half, ends]), np.column_stack([middle + half, ends])

    def at(self, move: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(K, M) profiles at places ``x`` (M,) across a band that is moved, (shift, widening) in
        px, and where they are whole."""
        import cv2

        shift, widen = move
        column = (x * (1 + widen * self.t / self.gap)[:, None]
                  + (2 * shift * self.t / self.gap)[:, None] - self.u[0]) / (self.u[1] - self.u[0])
        row = np.broadcast_to(np.arange(len(self.y), dtype=np.float32)[:, None], column.shape)
        where = column.astype(np.float32), np.ascontiguousarray(row)
        value = cv2.remap(self.profiles, *where, cv2.INTER_CUBIC,
                          borderMode=cv2.BORDER_REPLICATE)
        whole = cv2.remap(self.whole.astype(np.float32), *where, cv2.INTER_LINEAR)
        return np.asarray(value, dtype=float), np.asarray(whole > 0.99)

    def settled(self, inwards_px: float) -> tuple[float, float, float] | None:
        """(shift, widening, sd of the widening) in px, or None; ``inwards_px`` is how far within
        the sides pole and wall may mix."""
        x = self.u[np.abs(self.u) <= 1 + _WALL_PX / self.half_px]
        wall = np.abs(x) > 1 + _MIX_OUT_PX / self.half_px
        inner = np.abs(x) < 1 - min(inwards_px / self.half_px, _MIX_SHARE)
        if inner.sum() < 3:
            return None
        here, sd, noise = np.zeros(2), math.inf, 1.0
        trust = np.ones((len(self.y), len(x)))
        for _ in range(_STEPS):
            step = self._step(here, x, wall, inner, trust, noise)
            if step is None:
                return None
            move, sd, noise, trust = step
            here = here + np.clip(move, -0.7, 0.7)
            if np.abs(here).max() > _MOST_PX:
                return None
            if np.abs(move).max() < _SETTLED_PX:
                break
        return float(here[0]), float(here[1]), sd

    def _step(self, here: np.ndarray, x: np.ndarray, wall: np.ndarray, inner: np.ndarray,
              trust: np.ndarray, noise: float
              ) -> tuple[np.ndarray, float, float, np.ndarray] | None:
        """How much further to shift and widen (2,), the widening's sd, px; the noise and the trust
        in each sample for the next step."""
        from scipy.special import ndtr

        value, whole = self.at(here, x)
        # Not by trust: a piece that is left out has to be able to come back.
        weight = whole.astype(float)
        pole = _gain(value[:, inner], weight[:, inner])
        if pole is None:
            return None
        walls = np.zeros(value.shape)
        for side in (x < 0, x > 0):
            seen = weight[:, side & wall].sum(axis=1)
            level = (value * weight)[:, side & wall].sum(axis=1) / np.maximum(seen, 1e-9)
            walls[:, side] = level[:, None]
            weight[np.ix_(seen < 1, side & ~inner)] = 0.0
        model = walls.copy()
        walls[:, inner] = 0.0
        weight = weight * (pole > 0)[:, None]
        sloped = _between_known(weight > 0)
        told = np.where(wall, 0.0, weight * trust)  # of the wall alone nothing is asked
        pieces = int((told.sum(axis=1) > 0).sum())
        if pieces < _PIECES:
            return None
        edge = ndtr((np.abs(x) - 1) * self.half_px / _BLUR_PX)
        mixed = _Shares(pole, walls, told, (noise / _SHARE_SD) ** 2)
        model[:, ~wall] = mixed.explained(value, edge)[0][:, ~wall]
        told = told * sloped
        rest = np.where(told > 0, value - model, 0.0)
        slope = np.gradient(model, x[1] - x[0], axis=1) * (self.t / (self.gap / 2))[:, None]
        turns = np.array([slope, slope * x / 2])
        own = [mixed.explained(d) for d in turns]
        free = np.array([d - e for d, (e, _) in zip(turns, own, strict=True)])
        normal = np.einsum("km,akm,bkm->ab", told, turns, free)
        if not np.linalg.cond(normal) < 1e10:
            return None
        inverse = np.linalg.inv(normal)
        move = -inverse @ np.einsum("km,akm,km->a", told, turns, rest)
        # From the scatter of the pieces and of the places across (P. J. Huber, Proc. 5th Berkeley
        # Symp. 1, 1967, 221), and from what is held to be known of the shares.
        pull = np.einsum("km,akm,km->akm", told, free, rest)
        pulls = pull.sum(axis=2)
        places = np.add.reduceat(pull.sum(axis=1), np.arange(0, len(x), _PLACE_STEPS), axis=1)
        noise = max(float(spread(rest[told > 0])), _LEAST_NOISE)
        if noise > _UNEXPLAINED * float(np.std(value[told > 0])):
            return None
        held = np.array([share for _, share in own]) * sloped.any(axis=0)
        middle = (pulls @ pulls.T * pieces / (pieces - 4) + places @ places.T
                  + mixed.hold * noise**2 * (held @ held.T))
        variance = float((inverse @ middle @ inverse)[1, 1])
        return move, _SCATTER * math.sqrt(variance), noise, _trust(rest, told > 0, noise)


@dataclass(frozen=True)
class _Shares:
    """Least squares of light by two lights: ``pole`` (K,), and ``wall`` (K, M) at each place, under
    ``weight`` (K, M); shares of the wall's are held, by ``hold``, to what is expected of them."""

    pole: np.ndarray
    wall: np.ndarray
    weight: np.ndarray
    hold: float

    def explained(self, light: np.ndarray, expected: np.ndarray | float = 0.0
                  ) -> tuple[np.ndarray, np.ndarray]:
        """(K, M) what is the same share of both in all pieces, at each place, and the share (M,)
        of the wall's light."""
        pole, w = self.pole[:, None], self.weight
        pp, pw, ww = ((w * a * b).sum(axis=0) for a, b in (
            (pole, pole), (pole, self.wall), (self.wall, self.wall)))
        p, q = (w * light * pole).sum(axis=0), (w * light * self.wall).sum(axis=0)
        pp = np.maximum(pp, 1e-9)
        share = (q + self.hold * expected - pw * p / pp) / (ww + self.hold - pw**2 / pp)
        share = np.where(ww > 0, share, 0.0)
        return ((p - share * pw) / pp) * pole + share * self.wall, share


def _between_known(known: np.ndarray) -> np.ndarray:
    """(K, M) where the light on either side of a place is known (K, M) as well.

    Only there its slope is.  Before a wall that is clipped to white the slope of the outermost
    place would be as steep as the pole is bright; it outweighed everything else, and the band
    stayed as wide as it had been given.
    """
    return np.asarray(known & np.pad(known, ((0, 0), (1, 0)))[:, :-1]
                      & np.pad(known, ((0, 0), (0, 1)))[:, 1:])


def _gain(value: np.ndarray, weight: np.ndarray) -> np.ndarray | None:
    """(K,) how bright the pole is in each piece, 0 where it is not seen; None when hardly ever."""
    seen = (weight > 0.1).mean(axis=1) > 0.3
    weight = weight * seen[:, None]
    gain = (value * weight).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
    for _ in range(15):
        common = (weight * value * gain[:, None]).sum(axis=0) / np.maximum(
            (weight * gain[:, None] ** 2).sum(axis=0), 1e-9)
        gain = (weight * value * common).sum(axis=1) / np.maximum(
            (weight * common**2).sum(axis=1), 1e-9)
    seen &= gain > 1e-6
    if seen.sum() < _PIECES:
        return None
    return np.where(seen, gain / np.median(gain[seen]), 0.0)


def _trust(rest: np.ndarray, told: np.ndarray, noise: float) -> np.ndarray:
    """(K, M) what pieces and samples earn by what is left over: a picture's corner behind the
    pole is neither wall nor pole."""
    size = np.sqrt((rest**2).sum(axis=1) / np.maximum(told.sum(axis=1), 1))
    usual = float(np.median(size[size > 0])) if size.any() else 1.0
    wild = np.maximum(size / usual - 1.5, 0.0)
    return np.asarray((1 / (1 + wild**2) ** 2)[:, None] / (1 + (rest / (3 * noise)) ** 2))


def _widened(clipped: np.ndarray, beside_px: float) -> np.ndarray:
    """(N,) what lies so near to something clipped (N,)."""
    reach = np.ones(2 * round(beside_px / _STEP_PX) + 1)
    return np.asarray(np.convolve(clipped, reach, "same") > 0.5)


def _pieces(rgb: np.ndarray, left_px: np.ndarray, right_px: np.ndarray,
            hidden: tuple[float, float] | None, reach_px: float, beside_px: float
            ) -> _Pieces | None:
    """The band's profiles, piece by piece, ``reach_px`` beyond its sides, whole where nothing
    within ``beside_px`` is clipped; None when too little of it is in the photo.

    In linear light: blur moves an edge between bright and dark in the code values.
    """
    import cv2

    height, width = rgb.shape[:2]
    middle_y = np.array([height / 2.0])
    half = float(line_x(right_px, middle_y)[0] - line_x(left_px, middle_y)[0]) / 2
    if half < 3:
        return None
    beyond = 1 + reach_px / half
    u = np.arange(-math.floor(beyond * half / _STEP_PX),
                  math.floor(beyond * half / _STEP_PX) + 1) * _STEP_PX / half
    found = []
    for y0 in pieces_of(height, _CHUNK_PX, hidden):
        y = np.arange(y0, y0 + _CHUNK_PX, dtype=float)
        left, right = line_x(left_px, y), line_x(right_px, y)
        x = (left + right)[:, None] / 2 + u * (right - left)[:, None] / 2
        if x.min() < 2 or x.max() > width - 3 or (right - left).min() < 5:
            continue
        low = int(x.min()) - 2
        code = rgb[y0: y0 + _CHUNK_PX, low: int(x.max()) + 4]
        where = (x - low).astype(np.float32), np.broadcast_to(
            (y - y0)[:, None], x.shape).astype(np.float32)
        light = cv2.remap(255 * (LINEAR[code] @ LUMINANCE), *where, cv2.INTER_CUBIC)
        clipped = cv2.remap((code.max(axis=2) >= _CLIPPED).astype(np.float32), *where,
                            cv2.INTER_LINEAR).mean(axis=0) >= 0.02
        found.append((light.mean(axis=0), ~_widened(clipped, beside_px), y.mean(),
                      (left + right).mean() / 2, (right - left).mean()))
    if len(found) < _PIECES:
        return None
    profiles, whole, heights, middles, gaps = (np.array(part) for part in zip(*found, strict=True))
    if np.ptp(heights) < 0.3 * height:
        return None
    return _Pieces(profiles.astype(np.float32), whole, u, heights, middles, gaps)
