"""An atlas of glyphs in, batches of degraded label patches with their texts out."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

from vision.graduations.numeral_reader import (
    ALPHABET,
    LEVEL_BOX,
    LEVEL_FLOOR,
    NET_HEIGHT,
    NET_STRETCH,
)
from vision.training.numeral_fonts import CAP, CELL, STRAY, held_out
from vision.training.numeral_rings import draw_rings, hidden_by, ring_ink, take_out

CANVAS_WIDTH = 120  # px of the network's height scale
COLUMNS = int(CANVAS_WIDTH * NET_STRETCH)


class Painter:
    """Draws batches of degraded label patches on one device, with their texts."""

    def __init__(self, atlas: Path, device: str, held: bool, seed: int) -> None:
        data = np.load(atlas)
        names = data["families"]
        keep = np.array([held_out(str(n)) == held for n in names])
        self.device = device
        self.glyphs = torch.from_numpy(data["glyphs"][keep]).to(device)
        self.advances = torch.from_numpy(data["advances"][keep]).to(device) / CAP
        families = names[keep]
        _, index, count = np.unique(families, return_inverse=True, return_counts=True)
        self.weights = torch.from_numpy(1.0 / count[index]).float().to(device)
        self.families = families
        self.rng = torch.Generator(device=device).manual_seed(seed)

    # -- random numbers
    def u(self, *shape: int, lo: float = 0.0, hi: float = 1.0) -> Tensor:
        return torch.rand(*shape, generator=self.rng, device=self.device) * (hi - lo) + lo

    def n(self, *shape: int) -> Tensor:
        return torch.randn(*shape, generator=self.rng, device=self.device)

    def below(self, p: float, *shape: int) -> Tensor:
        return self.u(*shape) < p

    # -- texts
    def texts(self, count: int) -> Tensor:
        """(count, 4) glyph indices, -1 where there is none: mostly plain whole numbers."""
        digit = torch.randint(0, 10, (count, 4), generator=self.rng, device=self.device)
        first = torch.randint(1, 10, (count,), generator=self.rng, device=self.device)
        length = torch.multinomial(
            torch.tensor([0.27, 0.50, 0.20, 0.03], device=self.device), count, True,
            generator=self.rng) + 1
        place = torch.arange(4, device=self.device)[None]
        text = torch.where(place < length[:, None], digit, -1)
        text[:, 0] = torch.where(length > 1, first, text[:, 0])
        dot = self.below(0.08, count) & (length >= 2) & (length <= 3)
        shifted = torch.stack([text[:, 0], torch.full_like(first, 10), text[:, 1], text[:, 2]], 1)
        text = torch.where(dot[:, None], shifted, text)
        text[:, 0] = torch.where(dot & self.below(0.4, count), 0, text[:, 0])
        minus = self.below(0.04, count) & (length <= 2) & ~dot
        shifted = torch.stack([torch.full_like(first, 11), *text[:, :3].unbind(1)], 1)
        return torch.where(minus[:, None], shifted, text)

    def _layout(self, font: Tensor, text: Tensor, tracking: Tensor) -> tuple[Tensor, Tensor]:
        """Centres (B, K) in digit heights, label centred at 0, and label widths (B,)."""
        present = text >= 0
        adv = self.advances[font].gather(1, text.clamp(min=0)) + tracking[:, None]
        adv = adv * present
        end = adv.cumsum(1)
        width = end[:, -1]
        return end - adv / 2 - width[:, None] / 2, width

    def batch(self, count: int) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Normalised patches (B, 1, NET_HEIGHT, COLUMNS), texts (B, 4), weights (B,),
        valid column limits (B, 2)."""
        B, dev = count, self.device
        H, W = NET_HEIGHT, CANVAS_WIDTH
        font = torch.multinomial(self.weights, B, True, generator=self.rng)
        text = self.texts(B)
        size = torch.exp(self.u(B, lo=math.log(10.5), hi=math.log(34.0)))
        tracking = self.u(B, lo=-0.02, hi=0.14) * self.below(0.7, B)
        centres, width = self._layout(font, text, tracking)
        aspect = self.u(B, lo=0.55, hi=1.15)  # view from the side squeezes the label
        aspect = torch.where(width * size * aspect > W - 4, (W - 4) / (width * size), aspect)
        half = width * size * aspect / 2
        cu = half + 1 + self.u(B) * (W - 2 * half - 2).clamp(min=0)
        cv = H / 2 + self.u(B, lo=-0.42, hi=0.42) * size
        cv = torch.minimum(torch.maximum(cv, 0.5 * size - 0.5), H + 0.5 - 0.5 * size)

        # Output pixel -> label frame, in digit heights.
        v = (torch.arange(2 * H, device=dev) + 0.5) / 2
        x = (torch.arange(COLUMNS, device=dev) + 0.5) / NET_STRETCH
        du = x[None, None, :] - cu[:, None, None]
        dv = v[None, :, None] - cv[:, None, None]
        rings = draw_rings(B, self.u)
        # among rings the wall is unrolled level with them
        loose = torch.where(rings.ringed, 0.15, 1.0)
        turn = self.n(B) * 0.06 * loose
        slope = torch.tan(turn + self.n(B) * 0.06 * loose)[:, None, None]
        slant = torch.tan(-turn + self.n(B) * 0.05)[:, None, None]
        lx = (du + slant * dv) / (size * aspect)[:, None, None]
        ly = (dv - slope * du) / size[:, None, None]
        radius = torch.exp(self.u(B, lo=math.log(3.0), hi=math.log(30.0)))[:, None, None]
        phi = self.u(B, lo=-0.9, hi=0.9)[:, None, None]
        sine = (lx * torch.cos(phi) / radius + torch.sin(phi)).clamp(-0.999, 0.999)
        lx = radius * (torch.asin(sine) - phi)
        tilt = (self.n(B) * 0.03 * loose)[:, None, None]
        ly = ly - tilt * lx * lx.abs().clamp(max=3.0)  # the ring of print seen from above or below

        blank = self.below(0.12, B)
        main = self._draw(font, text, centres, torch.zeros(B, device=dev), lx, ly)
        ink = main * ~blank[:, None, None]
        # the labels above and below, entering the patch
        for sign in (-1.0, 1.0):
            pitch = torch.maximum(1.3 * size, torch.tensor(30.0, device=dev))
            pitch = (pitch + self.u(B) * (58 - pitch).clamp(min=0)) / size
            other = self.texts(B)
            at, _ = self._layout(font, other, tracking)
            drawn = self._draw(font, other, at, sign * pitch, lx, ly)
            ink = torch.maximum(ink, drawn * self.below(0.35, B)[:, None, None])
        # stray letters beside the label
        stray = len(ALPHABET) + torch.randint(
            0, len(STRAY), (B, 2), generator=self.rng, device=dev)
        at, wide = self._layout(font, stray, tracking)
        gap = self.u(B, lo=0.6, hi=2.5) + (wide + width) / 2
        gap = torch.where(self.below(0.5, B), gap, -gap)
        drawn = self._draw(font, stray, at, self.u(B, lo=-0.2, hi=0.2),
                           lx - gap[:, None, None], ly)
        ink = torch.maximum(ink, drawn * self.below(0.07, B)[:, None, None])
        ink = torch.maximum(ink, self._marks(B, lx, ly, width, blank)
                            * ~(rings.ringed & ~rings.alone)[:, None, None])
        ringed = ring_ink(rings, lx, ly, width)
        buried = hidden_by(rings, ringed, main)
        ink = torch.maximum(ink, ringed)

        window = self._window(B, cu, half, x)
        picture, visible = self._scene(B, ink, size)
        picture = self._optics(picture, size)
        columns = torch.stack([cu - half, cu + half], 1) * NET_STRETCH
        picture = take_out(picture, rings, size, cv, columns, self.u)
        visible = visible * window[:, None, :]
        shares = []  # of each glyph's ink that is left visible
        for k in range(4):
            own = main * ((lx - centres[:, k, None, None]).abs() < 0.3)
            share = (own * visible).sum((1, 2)) / own.sum((1, 2)).clamp(min=1e-3)
            shares.append(torch.where(text[:, k] >= 0, share, 1.0))
        seen = torch.stack(shares, 1).amin(1)
        # What is well visible is to be read; what is clearly covered is not; between the
        # two nobody can say, and the network is not taught either.
        weight = (((seen > 0.7) & ~buried) | (seen < 0.35) | blank).float()
        text = torch.where((blank | (seen < 0.35))[:, None], -1, text)
        limits = torch.stack([(window > 0).float().argmax(1),
                              COLUMNS - (window.flip(1) > 0).float().argmax(1)], 1)
        return level(picture, limits), text, weight, limits

    def _draw(self, font: Tensor, text: Tensor, at: Tensor, down: Tensor, lx: Tensor, ly: Tensor
              ) -> Tensor:
        """Coverage (B, 2H, W) by a text whose middle lies ``down`` below the centre.

        The text is first set in one strip, its even and its odd glyphs apart (neighbours
        may overlap), then the strip is bent onto the canvas.
        """
        dev, wide = self.device, 4 * CELL
        column = torch.arange(wide, device=dev)[None]
        rows = torch.arange(CELL, device=dev)[None, :, None]
        strip = torch.zeros(text.shape[0], CELL, wide, dtype=torch.uint8, device=dev)
        for parity in (0, 1):
            which = torch.full((text.shape[0], wide), -1, device=dev)
            inside = torch.zeros_like(which)
            for k in range(parity, text.shape[1], 2):
                left = (wide / 2 + at[:, k] * CAP - CELL / 2).round().long()
                place = column - left[:, None]
                hit = (place >= 0) & (place < CELL) & (text[:, k, None] >= 0)
                which = torch.where(hit, text[:, k, None], which)
                inside = torch.where(hit, place, inside)
            drawn = self.glyphs[font[:, None, None], which.clamp(min=0)[:, None], rows,
                                inside[:, None]] * (which >= 0)[:, None]
            strip = torch.maximum(strip, drawn)
        gx = lx * (2 * CAP / wide)
        gy = (ly - down[:, None, None]) * (2 * CAP / CELL)
        return F.grid_sample(strip[:, None].float() / 255, torch.stack([gx, gy], -1),
                             align_corners=False)[:, 0]

    def _marks(self, B: int, lx: Tensor, ly: Tensor, width: Tensor, blank: Tensor) -> Tensor:
        """Pieces of graduations, and now and then an upright line."""
        def bar(a: Tensor, b: Tensor, c: Tensor, half: Tensor, p: float) -> Tensor:
            soft = 0.04
            inside = (torch.sigmoid((lx - a[:, None, None]) / soft)
                      * torch.sigmoid((b[:, None, None] - lx) / soft))
            across = torch.sigmoid((half[:, None, None] - (ly - c[:, None, None]).abs()) / soft)
            return inside * across * self.below(p, B)[:, None, None]
        half = torch.exp(self.u(B, lo=math.log(0.025), hi=math.log(0.10)))
        side = torch.where(self.below(0.5, B), 1.0, -1.0)
        start = width / 2 + self.u(B, lo=0.12, hi=1.6)
        start = torch.where(blank, self.u(B, lo=-2.0, hi=2.0), start)
        far = torch.full_like(start, 40.0)
        a, b = torch.where(side > 0, start, -far), torch.where(side > 0, far, -start)
        centre = self.u(B, lo=-0.45, hi=0.45)
        out = bar(a, b, centre, half, 0.7)
        inset = self.u(B, lo=0.0, hi=2.0)
        a2 = torch.where(side > 0, start + inset, -far)
        b2 = torch.where(side > 0, far, -start - inset)
        pitch = self.u(B, lo=0.35, hi=1.6)
        some = self.below(0.35, B)[:, None, None]
        for k in (-3, -2, -1, 1, 2, 3):
            out = torch.maximum(out, bar(a2, b2, centre + k * pitch, half, 1.0) * some)
        # an upright line: the outline of the chamber, the edge of a panel
        place = width / 2 + self.u(B, lo=0.25, hi=3.0)
        place = torch.where(self.below(0.5, B), place, -place)
        place = torch.where(blank, self.u(B, lo=-2, hi=2), place)
        line = torch.sigmoid((half[:, None, None] - (lx - place[:, None, None]
                              + 0.1 * self.n(B)[:, None, None] * ly).abs()) / 0.04)
        shade = self.u(B, lo=0.2, hi=1.0)[:, None, None]
        return torch.maximum(out, line * shade * self.below(0.2, B)[:, None, None])

    def _window(self, B: int, cu: Tensor, half: Tensor, x: Tensor) -> Tensor:
        """(B, W) 1 inside the patch: patches have any width, the label anywhere in it."""
        left = (cu - half - 1).clamp(min=0) * self.u(B) * self.below(0.6, B)
        right_free = (CANVAS_WIDTH - (cu + half + 1)).clamp(min=0)
        right = CANVAS_WIDTH - right_free * self.u(B) * self.below(0.8, B)
        cut = self.below(0.06, B)  # now and then through the label
        left = torch.where(cut & self.below(0.5, B), cu + half * self.u(B, lo=-1, hi=0.6), left)
        narrow = (right - left) < 12
        left, right = torch.where(narrow, 0.0, left), torch.where(narrow, 120.0, right)
        return ((x[None] >= left[:, None]) & (x[None] <= right[:, None])).float()

    def _field(self, B: int, rows: int, cols: int) -> Tensor:
        coarse = self.n(B, 1, rows, cols)
        return F.interpolate(coarse, (2 * NET_HEIGHT, COLUMNS), mode="bicubic")[:, 0]

    def _scene(self, B: int, ink: Tensor, size: Tensor) -> tuple[Tensor, Tensor]:
        """Put ink before a background, under highlights and covers; what is left visible."""
        dev = self.device
        yy = torch.linspace(0, 1, 2 * NET_HEIGHT, device=dev)[None, :, None]
        xx = torch.linspace(0, 3, COLUMNS, device=dev)[None, None, :]

        def r(lo: float = 0.0, hi: float = 1.0) -> Tensor:
            return self.u(B, 1, 1, lo=lo, hi=hi)

        base = r(0.3, 1.0) + self._field(B, 2, 4) * r(0, 0.1)
        base = base + self._field(B, 5, 15) * r(0, 0.045) * self.below(0.5, B)[:, None, None]
        # steps of brightness: liquid below, panel edge or wall beside
        for p in (0.3, 0.2):
            step = torch.sigmoid((yy - r() + self.n(B, 1, 1) * 0.05 * xx) / r(0.004, 0.06))
            base = base * (1 - step * r(-0.3, 0.6) * self.below(p, B)[:, None, None])
        for p in (0.35, 0.15):
            step = torch.sigmoid((xx - r(0, 3) + self.n(B, 1, 1) * 0.08 * yy) / r(0.004, 0.1))
            base = base * (1 - step * r(-0.4, 0.6) * self.below(p, B)[:, None, None])
            ridge = torch.exp(-((xx - r(0, 3)) / r(0.01, 0.12)) ** 2)
            base = base * (1 - ridge * r(-0.3, 0.5) * self.below(p, B)[:, None, None])
        strength = r(0.15, 0.97)
        strength = torch.where(self.below(0.2, B)[:, None, None], strength * 0.5, strength)
        picture = base * (1 - strength * ink)
        visible = torch.ones_like(picture)
        # highlights: upright streaks and round spots, up to burnt out
        for p in (0.25, 0.12):
            streak = torch.exp(-((xx - r(0, 3)) / r(0.02, 0.3)).abs() ** 3)
            spot = torch.exp(-((xx - r(0, 3)) / r(0.03, 0.5)) ** 2
                             - ((yy - r()) / r(0.05, 0.5)) ** 2)
            light = torch.where(self.below(0.5, B)[:, None, None], streak, spot)
            light = light * r(0.1, 1.0) * self.below(p, B)[:, None, None]
            picture = picture * (1 - light) + light * r(0.8, 1.3)
            visible = visible * (1 - light)
        # covers: a finger, a drop, a sticker
        for p in (0.10, 0.05):
            edge = r(0.01, 0.08)
            flat = torch.sigmoid((r(0.05, 1.2) - (xx - r(0, 3)).abs()) / edge)
            low = torch.sigmoid((r(0.05, 0.6) - (yy - r()).abs()) / edge)
            disc = torch.sigmoid((1 - ((xx - r(0, 3)) / r(0.1, 0.8)) ** 2
                                  - ((yy - r()) / r(0.1, 0.8)) ** 2) / (4 * edge))
            pick = torch.randint(0, 3, (B, 1, 1), generator=self.rng, device=dev)
            cover = torch.where(pick == 0, flat, torch.where(pick == 1, low, disc))
            cover = cover * self.below(p, B)[:, None, None]
            picture = picture * (1 - cover) + cover * (r(0.1, 1.0) + self._field(B, 3, 9) * 0.03)
            visible = visible * (1 - cover)
        gain = r(0.35, 1.1)
        return picture * gain, visible

    def _blur(self, picture: Tensor, sy: Tensor, sx: Tensor) -> Tensor:
        """Gaussian blur, its sigma (in canvas pixels) different for each picture."""
        reach = torch.arange(-12, 13, device=self.device).float()[None]
        ky = torch.exp(-0.5 * (reach / sy[:, None].clamp(min=0.15)) ** 2)
        kx = torch.exp(-0.5 * (reach / sx[:, None].clamp(min=0.15)) ** 2)
        ky, kx = ky / ky.sum(1, keepdim=True), kx / kx.sum(1, keepdim=True)
        B = picture.shape[0]
        x = F.pad(picture[None], (12, 12, 12, 12), mode="replicate")
        x = F.conv2d(x, ky[:, None, :, None], groups=B)
        return F.conv2d(x, kx[:, None, None, :], groups=B)[0]

    def _optics(self, picture: Tensor, size: Tensor) -> Tensor:
        """Blur, sampling at the photo's own resolution, noise, JPEG; back to network size."""
        B = picture.shape[0]
        sigma = size * self.u(B, lo=0.0, hi=0.15) * self.u(B)
        smear = torch.where(self.below(0.2, B), 1 + self.u(B), torch.ones(B, device=self.device))
        picture = self._blur(picture, 2 * sigma, sigma * smear * NET_STRETCH)
        # Within a batch the pictures are sorted by nothing, so any slice is a fair sample.
        factors = (2.0, 1.4, 1.0, 0.8, 0.62, 0.5)
        parts = []
        for part, factor in zip(picture.chunk(len(factors)), factors, strict=False):
            rows, cols = round(NET_HEIGHT * factor), round(CANVAS_WIDTH * factor)
            small = F.interpolate(part[:, None], (rows, cols), mode="area")[:, 0]
            b = small.shape[0]
            sd = self.u(b, 1, 1, lo=0.0, hi=0.05) * self.u(b, 1, 1)
            small = small + self.n(*small.shape) * sd
            rough = F.interpolate(self.n(b, 1, rows // 2, cols // 2), (rows, cols), mode="bilinear")
            small = small + rough[:, 0] * sd * 0.7 * self.below(0.4, b)[:, None, None]
            small = _jpeg(small.clamp(0, 1), self.u(b, 1, 1, lo=0.4, hi=6.0), self.below(0.5, b))
            small = (small * 255).round() / 255
            mode = "bilinear" if factor <= 1 else "area"
            parts.append(F.interpolate(small[:, None], (NET_HEIGHT, COLUMNS), mode=mode)[:, 0])
        return torch.cat(parts)


_QUANT = [  # the example luminance table of ITU-T T.81 (1992), Annex K
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56,
    14, 17, 22, 29, 51, 87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113,
    92, 49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99]


def _jpeg(picture: Tensor, coarseness: Tensor, on: Tensor) -> Tensor:
    """The loss of a JPEG: 8x8 cosine transform, quantised."""
    rows, cols = picture.shape[1:]
    pad = F.pad(picture[:, None], (0, -cols % 8, 0, -rows % 8), mode="replicate")[:, 0] * 255 - 128
    k = torch.arange(8, device=picture.device).float()
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * 0.5
    basis[0] /= math.sqrt(2)
    R, C = pad.shape[1] // 8, pad.shape[2] // 8
    blocks = pad.reshape(-1, R, 8, C, 8).permute(0, 1, 3, 2, 4)
    q = torch.tensor(_QUANT, device=picture.device).float().reshape(8, 8)
    q = (q * coarseness[..., None, None] * 0.3).clamp(min=1)
    kept = basis.T @ ((basis @ blocks @ basis.T / q).round() * q) @ basis
    back = kept.permute(0, 1, 3, 2, 4).reshape(pad.shape)[:, :rows, :cols]
    return torch.where(on[:, None, None], ((back + 128) / 255).clamp(0, 1), picture)


def level(picture: Tensor, limits: Tensor) -> Tensor:
    """The network's input from grey patches; the twin of ``numeral_reader._level``."""
    cols = torch.arange(picture.shape[2], device=picture.device)[None].float()
    inside = ((cols >= limits[:, :1]) & (cols < limits[:, 1:])).float()[:, None, None]
    x = picture[:, None]
    ky, kx = LEVEL_BOX

    def box(a: Tensor) -> Tensor:  # one direction after the other: much faster
        return F.avg_pool2d(F.avg_pool2d(a, (ky, 1), 1, (ky // 2, 0)), (1, kx), 1, (0, kx // 2))

    den = box(inside.expand_as(x)).clamp(min=1e-6)

    def mean(a: Tensor) -> Tensor:
        return box(a * inside) / den
    d = (x - mean(x)) * inside
    power = mean(d * d)
    whole = (d * d).sum((1, 2, 3)) / inside.sum((1, 2, 3)) / picture.shape[1]
    scale = torch.sqrt(power + LEVEL_FLOOR * whole[:, None, None, None] + 1e-8)
    return d / scale * inside
