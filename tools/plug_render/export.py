"""Write trained weights as the network files that joblog/vision reads.

python export.py circle-all.pt ../../joblog/vision/weights/plug-circles.onnx
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch
from crops import NC, ND
from nets import Net


def main():
    """Convert one file; the number of answers tells which network it is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("out", type=Path)
    args = parser.parse_args()
    state = torch.load(args.weights, map_location="cpu")
    answers = len(state["o.bias"])
    net = Net(answers).eval()
    net.load_state_dict(state)
    side = NC if answers == 2 else ND
    torch.onnx.export(
        net,
        torch.zeros(1, 3, side, side),
        str(args.out),
        input_names=["x"],
        output_names=["y"],
        opset_version=17,
        dynamo=False,
    )


if __name__ == "__main__":
    main()
