"""The network that reads an unrolled dipstick: where its marks and its wet edge lie.

Convolutions across and along, rows pooled away, then dilated convolutions along: each column sees
the whole blade. Four numbers a column: logits of "the lower mark lies here", "the upper mark", "the
wet edge" (each a softmax over all columns), and of "this is wet".
"""

from __future__ import annotations

import torch
from torch import Tensor, nn

WIDE = 96
DILATIONS = (1, 2, 4, 8, 16, 32, 64, 1, 2, 4)


def plane(inside: int, out: int) -> nn.Sequential:
    """Return a convolution over the strip."""
    return nn.Sequential(
        nn.Conv2d(inside, out, 3, padding=1, bias=False), nn.BatchNorm2d(out), nn.ReLU()
    )


class Along(nn.Module):
    """A residual convolution along the strip."""

    def __init__(self, dilation: int) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv1d(WIDE, WIDE, 3, padding=dilation, dilation=dilation, bias=False),
            nn.BatchNorm1d(WIDE),
            nn.ReLU(),
            nn.Conv1d(WIDE, WIDE, 1, bias=False),
            nn.BatchNorm1d(WIDE),
            nn.Dropout1d(0.1),
        )

    def forward(self, x: Tensor) -> Tensor:
        """Return shape (batch, WIDE, columns)."""
        return torch.relu(x + self.body(x))


class StripNet(nn.Module):
    """Takes (batch, 4, 60, columns): three normalised log channels and which columns there are."""

    def __init__(self) -> None:
        super().__init__()
        self.across = nn.Sequential(
            plane(4, 16), plane(16, 24), nn.MaxPool2d(2),
            plane(24, 32), nn.MaxPool2d((2, 1)),
            plane(32, 48), nn.MaxPool2d((3, 1)),
            plane(48, 48),
        )  # fmt: skip
        self.first = nn.Sequential(
            nn.Conv1d(48 * 5, WIDE, 1, bias=False),
            nn.BatchNorm1d(WIDE),
            nn.ReLU(),
            nn.Dropout1d(0.1),
        )
        self.along = nn.Sequential(*[Along(d) for d in DILATIONS])
        self.last = nn.Conv1d(WIDE, 4, 1)

    def forward(self, x: Tensor) -> Tensor:
        """Return logits, shape (batch, 4, columns / 2)."""
        seen = x[:, 3, 0, ::2]
        planes = self.across(x)
        flat = planes.flatten(1, 2)
        out = self.last(self.along(self.first(flat)))
        return out - 30.0 * (1 - seen)[:, None]
