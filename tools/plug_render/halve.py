"""Store a network file's large numbers in half precision. Needs ``onnx``."""

import onnx
from onnx import TensorProto, helper, numpy_helper

LEAST = 256  # numbers in what is worth halving


def halve(path):
    """Store the file's large numbers in half precision."""
    model = onnx.load(path)
    graph, casts = model.graph, []
    for value in graph.initializer:
        if value.data_type != TensorProto.FLOAT or numpy_helper.to_array(value).size < LEAST:
            continue
        name, numbers = value.name, numpy_helper.to_array(value)
        value.CopyFrom(numpy_helper.from_array(numbers.astype("float16"), f"{name}.half"))
        casts.append(helper.make_node("Cast", [f"{name}.half"], [name], to=TensorProto.FLOAT))
    nodes = [*casts, *graph.node]
    del graph.node[:]
    graph.node.extend(nodes)
    onnx.checker.check_model(model)
    onnx.save(model, path)
