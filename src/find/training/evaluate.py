# SPDX-License-Identifier: Apache-2.0
"""The network's errors on held-out painted scenes, and how sure it may be.

  python3 evaluate.py --weights DIR/checkpoint.pt --scenes 4096 --tables T.json

Prints, for each point, the errors in millimetres; writes the calibration: for
each view, how often a point of that likelihood lies within 5 mm, and how far
off it then is in units of its own spread.
"""
import argparse
import json

import numpy as np
import torch

import export
import lessons
import pictures


def calibration(result, view, bins=12):
    """Quantile bins of the likelihood seen x mass."""
    rows = result["view"] == view
    error = result["error"][rows]
    score = (result["seen"] * result["mass"])[rows]
    spread = result["spread"][rows]
    there = result["there"][rows] > 0.5
    # What is not there, but was given a place, counts as wrong.
    right = there & (np.nan_to_num(error, nan=1e9) < 5.0)
    table = []
    if (score > 0.02).sum() < bins:
        return table
    order = np.quantile(score[score > 0.02], np.linspace(0, 1, bins + 1))
    for low, high in zip(order[:-1], order[1:]):
        chosen = (score >= low) & (score <= high)
        near = chosen & right
        ratio = (error[near] / np.maximum(spread[near], 1e-3))
        table.append({"likelihood": float(score[chosen].mean()),
                      "within_5_mm": float(right[chosen].mean()),
                      "count": int(chosen.sum()),
                      # Of a round normal law, 68 in 100 errors are below 1.51 sigma.
                      "sigma_per_spread": float(np.quantile(ratio, 0.683) / 1.515)
                      if ratio.size else 1.0})
    # Never falling: pool neighbours that break the order.
    values = [row["within_5_mm"] for row in table]
    weights = [row["count"] for row in table]
    blocks = []
    for v, w in zip(values, weights):
        blocks.append([v, w, 1])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            b = blocks.pop()
            a = blocks.pop()
            blocks.append([(a[0] * a[1] + b[0] * b[1]) / (a[1] + b[1]), a[1] + b[1], a[2] + b[2]])
    pooled = [v for v, _, n in blocks for _ in range(n)]
    for row, v in zip(table, pooled):
        row["within_5_mm"] = v
    return table


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--weights", required=True)
    parser.add_argument("--scenes", type=int, default=4096)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sizes", type=int, nargs="+", default=[384, 256])
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--tables", help="JSON file to write the calibration to")
    parser.add_argument("--close", action="store_true",
                        help="photographs in windows under 330 mm only, as the finder's "
                        "second look is")
    parser.add_argument("--painted", type=int, default=lessons.PAINTED,
                        help="size of the painted scenes [px]")
    options = parser.parse_args()
    lessons.PAINTED = options.painted
    if options.close:
        pictures.PLATES = pictures.CUT_OUTS = 0
    device = "cuda" if torch.cuda.is_available() else "cpu"
    model = export.load(options.weights).to(device)
    out = {}
    for size in options.sizes:
        result = lessons.held_out(model, device, options.seed + 7, options.scenes, size,
                                  autocast=False, batch=options.batch,
                                  widest=330 if options.close else None)
        print(f"held-out scenes, size {size}")
        print(lessons.table(result), flush=True)
        out[str(size)] = {"solar": calibration(result, 0), "lateral": calibration(result, 1)}
    if options.tables:
        with open(options.tables, "w", encoding="utf-8") as file:
            json.dump(out, file, indent=1)


if __name__ == "__main__":
    main()
