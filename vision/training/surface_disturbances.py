"""What is done to views while the surface networks are taught: colours, grain, things before."""

from __future__ import annotations

import math

import torch
import torch.nn.functional as F


def disturbed(x: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Colour, tone, grain and softness that no scene had.  (B, 3, H, W) in 0..1."""
    b, dev = x.shape[0], x.device

    def u(*shape: int, lo: float = 0.0, hi: float = 1.0) -> torch.Tensor:
        return torch.rand(*shape, generator=g, device=dev) * (hi - lo) + lo

    gamma = torch.exp(u(b, 1, 1, 1, lo=-0.35, hi=0.35))
    x = x.clamp(1e-4, 1) ** gamma
    x = x * torch.exp(u(b, 3, 1, 1, lo=-0.15, hi=0.15)) * torch.exp(u(b, 1, 1, 1, lo=-0.4, hi=0.15))
    grey = x.mean(dim=1, keepdim=True)
    sat = u(b, 1, 1, 1, lo=0.3, hi=1.3)
    x = grey + (x - grey) * sat
    x = torch.where(u(b, 1, 1, 1) < 0.3, hue_turned(x, u(b, lo=-math.pi, hi=math.pi)), x)
    soft = F.avg_pool2d(F.pad(x, (0, 0, 1, 1), mode="replicate"), (3, 1), stride=1)
    x = torch.where(u(b, 1, 1, 1) < 0.25, soft, x)
    edges = x + (x - soft) * u(b, 1, 1, 1, hi=1.2)  # as phones sharpen
    x = torch.where(u(b, 1, 1, 1) < 0.25, edges, x)
    wide = F.avg_pool2d(F.pad(x, (0, 0, 2, 2), mode="replicate"), (5, 1), stride=1)
    x = torch.where(u(b, 1, 1, 1) < 0.12, wide, x)
    h, w = x.shape[2:]
    # streaks along the wall (lights of the room) and slow shading
    streak = torch.randn(b, 1, 1, w, generator=g, device=dev) * u(b, 1, 1, 1, hi=0.06)
    slow = F.interpolate(torch.randn(b, 1, 5, 4, generator=g, device=dev), (h, w),
                         mode="bilinear") * u(b, 1, 1, 1, hi=0.05)
    x = x + streak * (u(b, 1, 1, 1) < 0.5) + slow
    grain = torch.randn(x.shape, generator=g, device=dev)
    blotch = F.interpolate(torch.randn(b, 3, h // 2, w // 2, generator=g, device=dev), (h, w))
    x = x + grain * u(b, 1, 1, 1, hi=1.0) ** 2 * 0.05 + blotch * u(b, 1, 1, 1) ** 2 * 0.03
    return (x.clamp(0, 1) * 255).round() / 255


def hue_turned(x: torch.Tensor, angle_rad: torch.Tensor) -> torch.Tensor:
    """The picture (B, 3, H, W) with its colours turned about grey: liquids have any colour."""
    along = torch.full((3, 3), 1.0 / 3.0, device=x.device)
    aside = torch.tensor([[0.0, -1.0, 1.0], [1.0, 0.0, -1.0], [-1.0, 1.0, 0.0]],
                         device=x.device) / math.sqrt(3.0)
    c, s = torch.cos(angle_rad)[:, None, None], torch.sin(angle_rad)[:, None, None]
    turn = along + c * (torch.eye(3, device=x.device) - along) + s * aside  # Rodrigues
    return torch.einsum("bij,bjhw->bihw", turn, x)


def side_covered(x: torch.Tensor, g: torch.Generator, share: float, rows: int) -> torch.Tensor:
    """A mask (B, H, W) of things held before the chamber."""
    b, _, h, w = x.shape
    dev = x.device
    on = torch.rand(b, generator=g, device=dev) < share
    left = torch.rand(b, generator=g, device=dev) < 0.5
    width = (torch.rand(b, generator=g, device=dev) ** 1.3 * 1.05 * w)
    top = torch.rand(b, generator=g, device=dev) * (h + rows) - rows
    tall = (0.3 + 0.7 * torch.rand(b, generator=g, device=dev)) * rows
    c = torch.arange(w, device=dev)[None, None, :]
    r = torch.arange(h, device=dev)[None, :, None]
    across = torch.where(left[:, None, None], c < width[:, None, None],
                         c >= w - width[:, None, None])
    down = (r >= top[:, None, None]) & (r < (top + tall)[:, None, None])
    return on[:, None, None] & across & down


def painted(x: torch.Tensor, mask: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    b, _, h, w = x.shape
    dev = x.device
    colour = torch.rand(b, 3, 1, 1, generator=g, device=dev)
    shade = 0.75 + 0.5 * torch.linspace(0, 1, h, device=dev)[None, None, :, None]
    return torch.where(mask[:, None], (colour * shade).expand_as(x), x)


def held_across(x: torch.Tensor, moved: torch.Tensor, g: torch.Generator
            ) -> tuple[torch.Tensor, torch.Tensor]:
    """Masks (B, H, W) of things held right across, whose edge often lies near the line,
    and (B,) whether they hide it."""
    b, _, h, w = x.shape
    dev = x.device
    line = h / 2 + moved.to(torch.float32)
    edge = line + torch.randn(b, generator=g, device=dev) * 12
    below = torch.rand(b, generator=g, device=dev) < 0.5
    slope = torch.randn(b, 1, 1, generator=g, device=dev) * 0.08
    c = torch.arange(w, device=dev)[None, None, :] - w / 2
    r = torch.arange(h, device=dev)[None, :, None] - edge[:, None, None] + slope * c
    mask = torch.where(below[:, None, None], r > 0, r < 0)
    hidden = torch.where(below, edge < line + 2, edge > line - 2)
    return mask, hidden


def about_half(x: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Only up to about half of the width may be covered for the offset network."""
    w = x.shape[3]
    c = torch.arange(w, device=x.device)[None, None, :]
    left = torch.rand(len(x), 1, 1, generator=g, device=x.device) < 0.5
    return torch.where(left, c < w * 0.55, c > w * 0.45)
