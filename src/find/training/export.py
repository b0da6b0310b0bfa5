# SPDX-License-Identifier: Apache-2.0
"""Writes the network as ONNX (opset 11), as OpenCV 4.6 reads it.

  python3 export.py --weights DIR/checkpoint.pt --to ../network/finder.onnx
  python3 export.py --weights ../network/finder.onnx --answers    # for the C++ test
"""
import argparse
import os

import torch
from torch import nn

import network


class Exported(torch.nn.Module):
    """The network as the program has it, asked through OpenCV, on the CPU."""

    def __init__(self, path):
        super().__init__()
        import cv2
        self.net = cv2.dnn.readNetFromONNX(path)

    def forward(self, x):
        maps, foot = [], []
        for one in x.detach().cpu().numpy():
            self.net.setInput(one[None].copy())
            answer = self.net.forward(["maps", "foot"])
            maps.append(torch.from_numpy(answer[0].copy()))
            foot.append(torch.from_numpy(answer[1].copy()))
        return torch.cat(maps).to(x.device), torch.cat(foot).to(x.device)


def load(path, device="cpu"):
    """@param path finder.onnx, or a checkpoint of train.py.

    @param device with a GPU finder.onnx is thawed; without, OpenCV is faster.
    """
    if path.endswith(".onnx"):
        return Exported(path) if device == "cpu" else thawed(path).to(device)
    state = torch.load(path, map_location="cpu")
    model = network.Finder(state.get("widths", network.WIDTHS))
    fit(model, state["mean"])
    return model.to(device).eval()


def fit(model, state):
    """Takes over the weights that have the same name and shape.

    @return the names of those of the model that were not there.
    """
    own = model.state_dict()
    same = {k: v.float() if v.is_floating_point() else v for k, v in state.items()
            if k in own and own[k].shape == v.shape}
    model.load_state_dict(same, strict=False)
    return [k for k in own if k not in same]


def frozen_convolutions(path):
    """The convolutions of finder.onnx in the order of their use, without those of
    the answer `foot`.

    @return a list of (weight, bias), and the same of `foot`.
    """
    import onnx
    from onnx import numpy_helper
    graph = onnx.load(path).graph
    values = {v.name: torch.from_numpy(numpy_helper.to_array(v).copy())
              for v in graph.initializer}
    makes = {name: node for node in graph.node for name in node.output}
    wanted, seen = ["maps"], set()
    while wanted:
        name = wanted.pop()
        if name in makes and name not in seen:
            seen.add(name)
            wanted.extend(makes[name].input)
    maps, foot = [], []
    for node in graph.node:
        if node.op_type == "Conv":
            weight = values[node.input[1]]
            bias = values[node.input[2]] if len(node.input) > 2 else \
                torch.zeros(len(weight))
            (maps if node.output[0] in seen else foot).append((weight, bias))
    return maps, foot


def in_order(model, x):
    """The model's convolutions in the order of their use, each with what
    normalises its output, or None; not those of `foot`."""
    foot = set(model.foot.modules())
    order, hooks = [], []

    def used(module, _, __):
        if isinstance(module, nn.Conv2d):
            order.append([module, None])
        elif order:
            order[-1][1] = module
    for module in model.modules():
        if isinstance(module, (nn.Conv2d, nn.BatchNorm2d)) and module not in foot:
            hooks.append(module.register_forward_hook(used))
    with torch.no_grad():
        model(x)
    for hook in hooks:
        hook.remove()
    return order


@torch.no_grad()
def thaw(model, path, x):
    """Gives a new model the weights of a finder.onnx, as far as they fit, so that it
    can be trained on.

    The file has the normalisation folded into each convolution. Here each gets
    the mean and spread that its output has on the pictures x, and the scale and
    offset that undo just these: the model answers as the file does.

    @return the names of the weights that did not fit and are as they were.
    """
    model.eval()
    maps, foot = frozen_convolutions(path)
    pairs = in_order(model, x[:1])
    device = x.device
    if len(pairs) != len(maps):
        raise ValueError(f"{path} has {len(maps)} convolutions, the network {len(pairs)}")
    fits, hooks, bias_of = set(), [], {}
    for (conv, norm), (weight, bias) in zip(pairs, maps):
        if conv.weight.shape != weight.shape:
            continue
        fits.add(conv)
        conv.weight.copy_(weight)
        if norm is None:
            conv.bias.copy_(bias)
            continue
        fits.add(norm)
        bias_of[norm] = bias.to(device)

        def measure(module, given):
            spread, mean = torch.var_mean(given[0].float(), (0, 2, 3), unbiased=False)
            module.running_mean.copy_(mean)
            module.running_var.copy_(spread)
            module.weight.copy_(torch.sqrt(spread + module.eps))
            module.bias.copy_(bias_of[module] + mean)
        # Each is set before the next is reached.
        hooks.append(norm.register_forward_pre_hook(measure))
    model(x)
    for hook in hooks:
        hook.remove()
    own = [m for m in model.foot.modules() if isinstance(m, nn.Conv2d)]
    if len(own) == len(foot) and all(c.weight.shape == w.shape
                                     for c, (w, _) in zip(own, foot)):
        for conv, (weight, bias) in zip(own, foot):
            fits.add(conv)
            conv.weight.copy_(weight)
            conv.bias.copy_(bias)
    return [name for name, module in model.named_modules()
            if isinstance(module, (nn.Conv2d, nn.BatchNorm2d)) and module not in fits]


def thawed(path):
    """@return the network of a finder.onnx; which pictures it is thawed on is no
    matter, as long as they differ."""
    model = network.Finder()
    left = thaw(model, path, torch.rand(2, 5, 128, 128))
    if left:
        raise SystemExit(f"{path} is another network: {', '.join(left)}")
    return model.eval()


def write(model, path):
    """@param path of the ONNX file; it is written whole or not at all."""
    more = {"dynamo": False} if "dynamo" in torch.onnx.export.__code__.co_varnames else {}
    half = path + ".half"
    torch.onnx.export(model.eval().cpu(), torch.zeros(1, 5, 384, 384), half, opset_version=11,
                      input_names=["picture"], output_names=["maps", "foot"],
                      dynamic_axes={"picture": {2: "h", 3: "w"}, "maps": {2: "h2", 3: "w2"}},
                      **more)
    os.replace(half, path)


def answers(path):
    """Prints what PyTorch answers to the picture of AskNetwork.AnswersAsPyTorchDoes
    (tests/find), as that test has it."""
    side = 96
    y, x = torch.meshgrid(torch.arange(side), torch.arange(side), indexing="ij")
    picture = torch.zeros(1, 5, side, side)
    for k in range(3):
        picture[0, k] = ((3 * x + 5 * y + 40 * k) % 256) / 255
    picture[0, 3, :24] = 1
    picture[0, :3, :, side - 6:] = 0.5
    picture[0, 3, :, side - 6:] = 0
    model = thawed(path) if path.endswith(".onnx") else load(path)
    for view, name in enumerate(("kSolar", "kLateral")):
        picture[0, 4] = view
        with torch.no_grad():
            maps, foot = model(picture)
        print(f"{{View::{name},\n {float(foot):.6f},")
        rows = [f"{{{k}, {row}, {column}, {float(maps[0, k, row, column]):.5f}}}"
                for k, row, column in ((0, 5, 7), (3, 20, 30), (9, 40, 11), (12, 24, 24),
                                       (16, 3, 40), (17, 47, 47))]
        print(" {" + ",\n  ".join(rows) + "}},")


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--weights", required=True, help="checkpoint.pt")
    parser.add_argument("--to", help="the ONNX file to write")
    parser.add_argument("--answers", action="store_true",
                        help="print the numbers of AskNetwork.AnswersAsPyTorchDoes; takes "
                             "a finder.onnx too")
    options = parser.parse_args()
    if options.to:
        write(load(options.weights), options.to)
    if options.answers:
        answers(options.weights)


if __name__ == "__main__":
    main()
