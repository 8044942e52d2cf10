"""The two surface networks: what they are made of."""

from __future__ import annotations

import torch
import torch.nn.functional as F
from torch import nn

from vision.meniscus_image.features import BIN_CENTRES_MM, OFFSET_PLANES, ROW_PLANES
from vision.meniscus_image.views import WHOLE_COLUMNS, WINDOW_COLUMNS, WINDOW_ROWS


def _conv(i: int, o: int, k: tuple[int, int] = (3, 3), d: tuple[int, int] = (1, 1)) -> nn.Module:
    pad = (k[0] // 2 * d[0], k[1] // 2 * d[1])
    return nn.Sequential(nn.Conv2d(i, o, k, padding=pad, dilation=d, bias=False),
                         nn.BatchNorm2d(o), nn.ReLU())


class _Twice(nn.Module):
    """Two convolutions whose answer is added to what came in."""

    def __init__(self, n: int, k: tuple[int, int] = (3, 3)) -> None:
        super().__init__()
        self.first = _conv(n, n, k)
        self.second = nn.Sequential(nn.Conv2d(n, n, k, padding=(k[0] // 2, k[1] // 2), bias=False),
                                    nn.BatchNorm2d(n))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return F.relu(x + self.second(self.first(x)))


class RowNet(nn.Module):
    """(B, 3 + planes, 384, 32) -> (B, 385) logits: one per row, the last for "none".

    One path keeps every row; the other sees the chamber at a quarter of the height,
    deep and far, and tells the first what is where.
    """

    def __init__(self) -> None:
        super().__init__()
        self.look = nn.Sequential(_conv(3 + ROW_PLANES, 24, (5, 3)), nn.MaxPool2d((1, 2)),
                                  _conv(24, 32), nn.MaxPool2d((1, 2)))
        self.fine = nn.Sequential(_conv(32, 40), nn.Conv2d(40, 64, (1, WHOLE_COLUMNS // 4)),
                                  nn.ReLU())
        self.coarse = nn.Sequential(
            nn.MaxPool2d((2, 1)), _conv(32, 64), nn.MaxPool2d((2, 2)),
            _conv(64, 96), _Twice(96), nn.Conv2d(96, 96, (1, WHOLE_COLUMNS // 8)), nn.ReLU())
        self.far = nn.ModuleList([_conv(96, 96, (5, 1), (d, 1)) for d in (1, 2, 4, 8, 1)])
        self.back = nn.ConvTranspose2d(96, 64, (4, 1), stride=(4, 1))
        self.spread = nn.ModuleList([_conv(64, 64, (5, 1), (d, 1)) for d in (1, 2, 4, 1)])
        self.row = nn.Conv2d(64, 1, 1)
        self.none = nn.Linear(192, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        seen = self.look(x)
        deep = self.coarse(seen)
        for layer in self.far:
            deep = deep + layer(deep)
        y = self.fine(seen) + self.back(deep)
        for layer in self.spread:
            y = y + layer(y)
        rows = self.row(y).flatten(1)
        pooled = torch.cat([deep.mean(dim=(2, 3)), deep.amax(dim=(2, 3))], dim=1)
        return torch.cat([rows, self.none(pooled)], dim=1)


class OffsetNet(nn.Module):
    """(B, 6 + planes, 160, 48) -> (B, bins + 1) logits.

    The bins say where the level lies, the last one whether the front contact line
    runs through the middle of the window at all.
    """

    def __init__(self, dropout: float = 0.2) -> None:
        super().__init__()
        self.look = nn.Sequential(
            _conv(6 + OFFSET_PLANES, 32, (5, 3)), nn.MaxPool2d((2, 1)),
            _conv(32, 48), _conv(48, 48), nn.MaxPool2d((2, 2)),
            _conv(48, 64), _Twice(64), nn.MaxPool2d((2, 2)),
            _conv(64, 112), _Twice(112), _Twice(112), nn.MaxPool2d((2, 2)),
            _conv(112, 40, (1, 1)))
        size = 40 * (WINDOW_ROWS // 16) * (WINDOW_COLUMNS // 8)
        self.say = nn.Sequential(nn.Linear(size, 160), nn.ReLU(), nn.Dropout(dropout),
                                 nn.Linear(160, len(BIN_CENTRES_MM)))
        self.here = nn.Sequential(nn.Linear(size, 48), nn.ReLU(), nn.Dropout(dropout),
                                  nn.Linear(48, 1))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        seen = self.look(x).flatten(1)
        return torch.cat([self.say(seen), self.here(seen)], dim=1)
