# SPDX-License-Identifier: Apache-2.0
"""The network's errors on held-out painted scenes, and how sure it may be.

  python3 evaluate.py --scenes 3072                          # in every window
  python3 evaluate.py --close --sizes 384 --scenes 400 --tables T.json
  python3 evaluate.py --pictures DIR --sheet S.png

Prints, for each point, the errors in millimetres; writes the calibration: for
each view, how often a point of that likelihood lies within 5 mm, and how far
off it then is in units of its own spread.
"""
import argparse
import json
import os

import numpy as np
import torch

import export
import lessons
import network
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


COLOURS = ((0, 0, 255), (0, 255, 0), (255, 0, 0), (0, 220, 220), (255, 0, 255),
           (255, 160, 0))
SIZE = 320  # Of the window that the network is shown [px].


def look(model, picture, view, share):
    """Shows the whole picture in a window of which it fills that share."""
    import cv2
    h, w = picture.shape[:2]
    scale = SIZE * share / max(h, w)
    to = np.array([[scale, 0, (SIZE - scale * w) / 2], [0, scale, (SIZE - scale * h) / 2]])
    soft = cv2.GaussianBlur(picture, (0, 0), 0.45 / scale) if scale < 0.7 else picture
    window = cv2.warpAffine(soft, to, (SIZE, SIZE), flags=cv2.INTER_LINEAR,
                            borderMode=cv2.BORDER_CONSTANT, borderValue=(128, 128, 128))
    x = torch.zeros(1, 5, SIZE, SIZE)
    x[0, :3] = torch.from_numpy(window[..., ::-1].transpose(2, 0, 1) / 255.0)
    x[0, 4] = view
    with torch.no_grad():
        maps, foot = model(x)
    read = network.read_points(maps[:, 6 * view:6 * view + 6])[0].numpy()
    back = cv2.invertAffineTransform(to)
    places = read[:, :2] @ back[:, :2].T + back[:, 2]
    sure = read[:, 2] * read[:, 3]
    return {"places": places, "sure": sure, "foot": float(torch.sigmoid(foot)[0, 0]),
            "hoof": maps[0, 12].numpy(), "back": back, "share": share}


def contact_sheet(model, folder, sheet):
    """Draws what is found in pictures without a card, of unknown scale: the view
    is taken from the file's name, the scale from the likeliest look."""
    import glob

    import cv2
    tiles = []
    for path in sorted(glob.glob(os.path.join(folder, "*.jpg"))):
        picture = cv2.imread(path)
        name = os.path.basename(path)
        view = 0 if "solar" in name else 1
        best = max((look(model, picture, view, share) for share in (0.55, 0.7, 0.85, 1.0)),
                   key=lambda found: found["foot"] * found["sure"].mean())
        k = 420 / max(picture.shape[:2])
        small = cv2.resize(picture, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
        hoof = cv2.warpAffine(cv2.resize(best["hoof"], (SIZE, SIZE)), best["back"] * k,
                              (small.shape[1], small.shape[0]), borderValue=-9)
        lines, _ = cv2.findContours((hoof > 0).astype(np.uint8), cv2.RETR_EXTERNAL,
                                    cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(small, lines, -1, (0, 140, 255), 1)
        for place, sure, colour in zip(best["places"], best["sure"], COLOURS):
            at = (int(round(place[0] * k)), int(round(place[1] * k)))
            cv2.circle(small, at, 6 if sure > 0.7 else 4, colour, 2 if sure > 0.7 else 1,
                       cv2.LINE_AA)
        tile = np.full((450, 430, 3), 128, np.uint8)
        high, wide = min(430, small.shape[0]), min(430, small.shape[1])
        tile[20:20 + high, :wide] = small[:high, :wide]
        cv2.putText(tile, f"{name[:24]} foot {best['foot']:.2f}", (2, 14), 0, 0.45,
                    (255, 255, 255), 1)
        tiles.append(tile)
        words = " ".join(f"{n} {s:.2f}" for n, s in
                         zip(lessons.NAMES[6 * view:], best["sure"]))
        print(f"{name}: foot {best['foot']:.2f}, {words}", flush=True)
    while len(tiles) % 5:
        tiles.append(np.zeros_like(tiles[0]))
    cv2.imwrite(sheet, np.vstack([np.hstack(tiles[i:i + 5]) for i in range(0, len(tiles), 5)]))


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--weights", default=os.path.join(lessons.HERE, "../network/finder.onnx"),
                        help="finder.onnx (as it stands in the program) or a checkpoint")
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
    parser.add_argument("--pictures", help="folder of pictures whose names say solar or lateral")
    parser.add_argument("--sheet", default="sheet.png")
    options = parser.parse_args()
    lessons.PAINTED = options.painted
    if options.close:
        pictures.PLATES = pictures.CUT_OUTS = 0
    device = "cuda" if torch.cuda.is_available() else "cpu"
    model = export.load(options.weights).to(device)
    if options.pictures:
        contact_sheet(model.cpu(), options.pictures, options.sheet)
        return
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
