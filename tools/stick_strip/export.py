"""Write the strip networks' weights as the one file that joblog/vision reads.

    PYTHONPATH=../plug_render python export.py --out ../../joblog/vision/weights/stick-strip.onnx \\
        strip-all-5.pt strip-all-6.pt ...

The file gives the mean of their probabilities. Needs ``onnx``. Large numbers are stored in half
precision, as the training saved them.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch
from halve import halve
from net import StripNet
from torch import Tensor, nn


class Mean(nn.Module):
    """What several networks say of lower mark, upper mark and edge, averaged."""

    def __init__(self, paths: list[Path]) -> None:
        super().__init__()
        self.nets = nn.ModuleList(StripNet() for _ in paths)
        for net, path in zip(self.nets, paths, strict=True):
            state = torch.load(path, map_location="cpu")
            net.load_state_dict({name: value.float() for name, value in state.items()})

    def forward(self, x: Tensor) -> Tensor:
        """Return probabilities, shape (batch, 3, columns / 2)."""
        return torch.stack([net(x)[:, :3].softmax(2) for net in self.nets]).mean(0)


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    torch.onnx.export(
        Mean(args.weights).eval(),
        (torch.zeros(1, 4, 60, 200),),
        str(args.out),
        opset_version=17,
        dynamo=False,
        dynamic_axes={"x": {0: "n", 3: "columns"}, "y": {0: "n", 2: "columns"}},
        input_names=["x"],
        output_names=["y"],
    )
    halve(args.out)


if __name__ == "__main__":
    main()
