"""Write the strip network's weights as the file that joblog/vision reads.

    PYTHONPATH=../plug_render python export.py --out ../../joblog/vision/weights/stick-strip.onnx strip-all.pt

Needs ``onnx``. Large numbers are stored in half precision, as the training saved them.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch
from halve import halve
from net import StripNet


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    net = StripNet().eval()
    state = torch.load(args.weights, map_location="cpu")
    net.load_state_dict({name: value.float() for name, value in state.items()})
    torch.onnx.export(
        net,
        torch.zeros(1, 4, 40, 200),
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
