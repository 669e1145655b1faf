"""Write trained weights as the network files that joblog/vision reads.

    python export.py --out ../../joblog/vision/weights/plug-debris.onnx \\
        0.25 debris-drawn.pt 0.75 debris-all.pt

Several weights are averaged in the given shares: a quarter of what was learnt on rendered plugs
alone made fewer flakes up on pictures that were left out of training. README has the shares of the
shipped file.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch
from crops import NC, ND
from nets import Net


def averaged(pairs):
    """Return the weighted mean of (share, file) pairs of weights."""
    states = [(float(share), torch.load(path, map_location="cpu")) for share, path in pairs]
    first = states[0][1]
    return {
        key: sum(share * state[key].float() for share, state in states)
        if value.is_floating_point()
        else value
        for key, value in first.items()
    }


def main():
    """Convert; the number of answers tells which network it is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", nargs="+", help="share and file, in turn")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    state = averaged(zip(args.weights[::2], args.weights[1::2], strict=True))
    answers = len(state["o.bias"])
    net = Net(answers).eval()
    net.load_state_dict(state)
    side = NC if answers == 2 else ND
    names = {"input_names": ["x"], "output_names": ["y"]}
    axes = {"x": {0: "n"}, "y": {0: "n"}}
    torch.onnx.export(
        net,
        torch.zeros(1, 3, side, side),
        str(args.out),
        opset_version=17,
        dynamo=False,
        dynamic_axes=axes,
        **names,
    )


if __name__ == "__main__":
    main()
