"""Make ONNX files, as tools/plug_render/export.py does, from what go.sh brought back.

    python eye_unpack.py FOLDER_WITH_[AB]-[12].pt eyenets

gives eyenets/A/fold0/plug-debris.onnx, .../A/all/plug-debris.onnx, .../B/... (6.7 MB each).
Also the mean of weights is not taken across A and B: they are independent.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import export  # noqa: E402
import torch  # noqa: E402

torch.set_num_threads(1)
source, target = Path(sys.argv[1]), Path(sys.argv[2])
for file in sorted(source.glob("[A-Z]*-*.pt")):
    for part, state in torch.load(file, map_location="cpu", weights_only=True).items():
        folder = target / file.name.split("-")[0] / part
        folder.mkdir(parents=True, exist_ok=True)
        out = folder / "plug-debris.onnx"
        net, side = export.network({k: v.float() if v.is_floating_point() else v for k, v in state.items()})
        torch.onnx.export(
            net, torch.zeros(1, 3, side, side), str(out), opset_version=17, dynamo=False,
            dynamic_axes={"x": {0: "n"}, "y": {0: "n"}}, input_names=["x"], output_names=["y"],
        )
        export.halve(out)
        print(out, out.stat().st_size, flush=True)
