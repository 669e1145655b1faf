"""Write trained weights as the network files that joblog/vision reads.

    python export.py --out ../../joblog/vision/weights/plug-debris.onnx 1 debris-all-mean.pt

Several weights, each with its share before it, are averaged. Convolutions are stored in half
precision, beside a node each that makes them single again when the file is opened: it is half as
large, and every number is worked out as before. Needs ``onnx``.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch
from crops import NC, ND
from halve import halve
from nets import Near, Net


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


def network(state):
    """Return the network whose weights these are, and the side of the crop that it sees."""
    answers = len(state["o.bias"])
    near = "stem.a.weight" in state
    net = (Near(answers // 4) if near else Net(answers)).eval()
    net.load_state_dict(state)
    return net, NC if answers == 2 else ND


def main():
    """Convert; the weights' names and the number of answers tell which network it is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", nargs="+", help="share and file, in turn")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--single", action="store_true", help="store single precision")
    args = parser.parse_args()
    net, side = network(averaged(zip(args.weights[::2], args.weights[1::2], strict=True)))
    torch.onnx.export(
        net,
        torch.zeros(1, 3, side, side),
        str(args.out),
        opset_version=17,
        dynamo=False,
        dynamic_axes={"x": {0: "n"}, "y": {0: "n"}},
        input_names=["x"],
        output_names=["y"],
    )
    if not args.single:
        halve(args.out)


if __name__ == "__main__":
    main()
