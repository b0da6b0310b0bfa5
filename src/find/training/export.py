# SPDX-License-Identifier: Apache-2.0
"""Writes the network as ONNX (opset 11), as OpenCV 4.6 reads it.

  python3 export.py --weights DIR/checkpoint.pt --to ../network/finder.onnx
"""
import argparse

import torch

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


def load(path):
    """@param path finder.onnx, or a checkpoint of train.py."""
    if path.endswith(".onnx"):
        return Exported(path)
    state = torch.load(path, map_location="cpu")
    model = network.Finder(state.get("widths", network.WIDTHS))
    state = state.get("mean", state)
    model.load_state_dict({k: v.float() if v.is_floating_point() else v
                           for k, v in state.items()})
    return model.eval()


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--weights", required=True, help="checkpoint.pt")
    parser.add_argument("--to", required=True)
    options = parser.parse_args()
    model = load(options.weights)
    more = {"dynamo": False} if "dynamo" in torch.onnx.export.__code__.co_varnames else {}
    torch.onnx.export(model, torch.zeros(1, 5, 384, 384), options.to, opset_version=11,
                      input_names=["picture"], output_names=["maps", "foot"],
                      dynamic_axes={"picture": {2: "h", 3: "w"}, "maps": {2: "h2", 3: "w2"}},
                      **more)


if __name__ == "__main__":
    main()
