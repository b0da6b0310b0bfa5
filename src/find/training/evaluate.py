# SPDX-License-Identifier: Apache-2.0
"""How well the finder finds, and how sure it may be.

  python3 evaluate.py                     # painted scenes, then rendered photos
  python3 evaluate.py --keep              # without fitting the calibration anew
  python3 evaluate.py --keep --no-plates
  python3 evaluate.py --pictures DIR --sheet S.png    # real pictures

Painted scenes: the calibration is fitted on the scenes of one seed and checked on
those of another: for each point and look, how often a point of that likelihood lies
within 5 mm, and what its spread has to be multiplied with, along and across. It is
written only where --tables says. The close look is at each window as it is and
mirrored, as in the program. Rendered photos (the renderer of tests/scenes,
which no lesson has seen) go through the program's own rooms, by the study
`points-found`. Real pictures go through the program, `plumbfoot measure --no-card`,
or through the network alone.
"""
import argparse
import json
import os
import subprocess

import numpy as np
import torch

import export
import lessons
import network
import pictures
import sheet


# CHOSEN: points are called sure from this confidence.
SURE = 0.97
# CHOSEN: of the pictures of a view, at most that share may have a sure point that is
# wrong: what design.md allows; for the wide look half, or more than one in a hundred of
# its sure points would be wrong.
WRONG_PICTURES = {384: 0.01, 256: 0.005}
# Half of the lessons and of the held-out windows are mirrored: left and right obey
# one law, which twice as many points tell better.
ALIKE = ([("heel_left", "heel_right"), ("frog_left", "frog_right")] +
         [(name,) for name in lessons.NAMES if not name.endswith(("_left", "_right"))])


def rising(values, weights):
    """The nearest values that never fall: neighbours that break the order are pooled.

    @return blocks of (value, weight, how many were pooled).
    """
    blocks = []
    for v, w in zip(values, weights):
        blocks.append((v, w, 1))
        while len(blocks) > 1 and blocks[-2][0] >= blocks[-1][0]:
            (v1, w1, n1), (v2, w2, n2) = blocks[-2:]
            blocks[-2:] = [((v1 * w1 + v2 * w2) / (w1 + w2), w1 + w2, n1 + n2)]
    return blocks


def confidence_of(likelihood, right, bins=60, top=8):
    """Isotonic regression of `right` on the likelihood.

    @param top the last `top` bins are halved once more: there it is decided which
      points are sure.
    @return knots (likelihood, within 5 mm), rising.
    """
    order = np.argsort(likelihood)
    parts = np.array_split(order, bins)
    parts[-top:] = [half for part in parts[-top:] for half in np.array_split(part, 2)]
    parts = [p for p in parts if len(p)]
    mean = [likelihood[p].mean() for p in parts]
    knots, at = [[0.0, 0.0]], 0
    for value, weight, n in rising([right[p].mean() for p in parts], [len(p) for p in parts]):
        x = np.average(mean[at:at + n], weights=[len(p) for p in parts[at:at + n]])
        # Never certain: as if one more had been wrong.
        y = max(knots[-1][1], round(float(value * weight / (weight + 1)), 4))
        knots.append([round(float(x), 4), y])
        at += n
    return knots


def along_across(result, k, rows):
    """Each error in the axes of its own spread, in units of it."""
    e = (result["found"] - result["truth"])[rows, k]
    xx, xy, yy = result["spread"][rows, k].T
    turn = 0.5 * np.arctan2(2 * xy, xx - yy)
    c, s = np.cos(turn), np.sin(turn)
    along = c * c * xx + 2 * c * s * xy + s * s * yy
    across = s * s * xx - 2 * c * s * xy + c * c * yy
    return ((c * e[:, 0] + s * e[:, 1]) / np.sqrt(along),
            (c * e[:, 1] - s * e[:, 0]) / np.sqrt(np.maximum(across, 1e-9)))


def calibration(result, most_wrong):
    """@param most_wrong of WRONG_PICTURES.
    @return for each point: its knots, and the factors of its spread."""
    out = {}
    off = np.nan_to_num(lessons.errors(result), nan=1e9)
    for alike in ALIKE:
        likelihood, right, along, across = [], [], [], []
        for name in alike:
            k = lessons.NAMES.index(name)
            # What is not there, but was given a place, counts as wrong.
            rows = (result["view"] == k // 6) & (result["foot_score"] > 0.5)
            likelihood.append(result["likelihood"][rows, k % 6])
            right.append(off[rows, k % 6] < 5.0)
            # CHOSEN: of those that may be used; a place taken for another is no
            # matter of spread.
            near = rows & (off[:, k % 6] < 20) & (result["likelihood"][:, k % 6] > 0.25)
            for axis, errors in zip((along, across), along_across(result, k % 6, near)):
                axis.append(errors)
        knots = confidence_of(np.concatenate(likelihood), np.concatenate(right),
                              60 * len(alike))
        # 95 in 100 errors of a normal law are below 1.96 sigma: the intervals
        # that a person reads are those of 95 %.
        factors = [round(float(np.quantile(np.abs(np.concatenate(a)), 0.95) / 1.96), 3)
                   for a in (along, across)]
        for name in alike:
            out[name] = {"within_5_mm": knots, "along": factors[0], "across": factors[1]}
    out = {name: out[name] for name in lessons.NAMES}
    for view in (0, 1):
        least = sure_from(result, out, view, most_wrong)
        for name in lessons.NAMES[6 * view:6 * view + 6]:
            out[name]["within_5_mm"] = sure_only_from(least, out[name]["within_5_mm"])
    return out


def sure_only_from(least, knots):
    """@return the knots, but nothing of less confidence than that is sure: it is right
    as often as it says, and yet too seldom for all points of a picture together."""
    x, y = np.array(knots).T
    below = [[a, min(b, SURE - 0.001)] for a, b in knots if b < least]
    above = [[a, b] for a, b in knots if b >= least]
    if not above:
        return below
    turn = round(float(np.interp(least, y, x)), 4)
    between = [[turn - 0.0001, below[-1][1]]] if turn - 0.0001 > below[-1][0] else []
    return below + between + ([[turn, least]] if turn < above[0][0] else []) + above


def wrong_pictures(result, confidence, view, least):
    """@return of each picture of the view that is taken for a foot: is one of its
    points of at least that confidence more than 5 mm off, or not there?"""
    rows = (result["view"] == view) & (result["foot_score"] > 0.5)
    off = np.nan_to_num(lessons.errors(result), nan=1e9)[rows]
    return ((confidence[rows] >= least) & (off > 5)).any(1)


def sure_from(result, tables, view, most_wrong):
    """@return the least confidence, SURE or more, from which points may be called
    sure: then no more pictures have a wrong one."""
    confidence = confidences(result, tables)
    levels = sorted({knot[1] for name in lessons.NAMES[6 * view:6 * view + 6]
                     for knot in tables[name]["within_5_mm"]} | {SURE, 1.0})
    return next(least for least in levels if least >= SURE and (
        least == 1.0 or
        wrong_pictures(result, confidence, view, least).mean() <= most_wrong))


def confidences(result, tables):
    """@return of each point of each picture, n x 6."""
    out = np.zeros_like(result["likelihood"])
    for k, name in enumerate(lessons.NAMES):
        rows = result["view"] == k // 6
        x, y = np.array(tables[name]["within_5_mm"]).T
        out[rows, k % 6] = np.interp(result["likelihood"][rows, k % 6], x, y)
    return out


def check(result, tables):
    """@return the table of errors, and how the calibration keeps its word."""
    confidence = confidences(result, tables)
    lines = [lessons.table(result, confidence, SURE)]
    off = lessons.errors(result)
    feet = result["foot"] > 0.5
    right = np.nan_to_num(off, nan=1e9) < 5
    for view, name in ((0, "solar"), (1, "lateral")):
        wrong = wrong_pictures(result, confidence, view, SURE)
        if wrong.size:
            lines.append(f"{name}: a sure point is wrong in {wrong.sum()} of {wrong.size} "
                         f"pictures ({100 * wrong.mean():.2f} %)")
    lines.append("confidence said, share within 5 mm, how many:")
    edges = [0, 0.25, 0.5, 0.7, 0.8, 0.9, 0.95, 0.97, 0.98, 0.99, 1.01]
    for low, high in zip(edges[:-1], edges[1:]):
        chosen = feet[:, None] & (confidence >= low) & (confidence < high)
        if chosen.any():
            lines.append(f"  {confidence[chosen].mean():.3f} {right[chosen].mean():.3f} "
                         f"{chosen.sum()}")
    inside = []
    for k, name in enumerate(lessons.NAMES):
        rows = feet & (result["view"] == k // 6) & ~np.isnan(off[:, k % 6]) & \
            (confidence[:, k % 6] >= 0.5)
        along, across = along_across(result, k % 6, rows)
        d = (along / tables[name]["along"]) ** 2 + (across / tables[name]["across"]) ** 2
        inside.append(f"{name} {np.mean(d < 5.991):.3f}")
    lines.append("inside the 95 % ellipse, of those with confidence 0.5 and more: " +
                 ", ".join(inside))
    return "\n".join(lines)


def as_json(tables):
    """A line for each point."""
    return "{\n" + ",\n".join(
        f' "{size}": {{\n' + ",\n".join(f'  "{name}": {json.dumps(v)}' for name, v in t.items()) +
        "\n }" for size, t in tables.items()) + "\n}\n"


SIZE = 320  # Of the window that the network is shown [px].


def look(model, tables, picture, view, share):
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
    # As if what fills that share were a hoof of 130 mm.
    mm = torch.tensor([130 / (SIZE * share)])
    read = network.read_points(maps[:, 6 * view:6 * view + 6], mm)[0].numpy()
    back = cv2.invertAffineTransform(to)
    places = read[:, :2] @ back[:, :2].T + back[:, 2]
    sure = np.array([np.interp(read[k, 2], *np.array(tables[name]["within_5_mm"]).T)
                     for k, name in enumerate(lessons.NAMES[6 * view:6 * view + 6])])
    return {"places": places, "sure": sure, "foot": float(torch.sigmoid(foot)[0, 0]),
            "hoof": maps[0, 12].numpy(), "back": back, "share": share}


def rendered(program, pairs, seeds, width, height):
    """Prints the study of rendered photos; its C++ program has the truth."""
    for seed in seeds:
        print(f"rendered photos, {pairs} pairs of seed {seed}, {width} x {height}", flush=True)
        subprocess.run([program, "points-found", "--pairs", str(pairs), "--seed", str(seed),
                        "--width", str(width), "--height", str(height)], check=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--weights", default=os.path.join(lessons.HERE, "../network/finder.onnx"),
                        help="finder.onnx (as it stands in the program) or a checkpoint")
    parser.add_argument("--scenes", type=int, default=8192)
    parser.add_argument("--seed", type=int, default=1, help="that of the training")
    parser.add_argument("--sizes", type=int, nargs="+", default=[384, 256],
                        help="384 the close second look, 256 the wide first one")
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--tables", help="the calibration: written, unless --keep")
    parser.add_argument("--keep", action="store_true", help="check --tables as they are")
    parser.add_argument("--raw", help="folder for what the network answered: taken from "
                                      "there, where it is, without asking it again")
    parser.add_argument("--photographs", help="for grounds and surfaces: what "
                                              "photographs.py wrote")
    parser.add_argument("--no-plates", action="store_true",
                        help="no plates and cut-outs; keeps the calibration")
    parser.add_argument("--painted", type=int, default=lessons.PAINTED,
                        help="size of the painted scenes [px]")
    parser.add_argument("--pairs", type=int, default=20, help="of rendered photos; 0: none")
    parser.add_argument("--pair-seeds", type=int, nargs="+", default=[41])
    parser.add_argument("--width", type=int, default=1600, help="of rendered photos [px]")
    parser.add_argument("--height", type=int, default=1200)
    parser.add_argument("--study", default=os.path.join(
        os.path.dirname(sheet.PROGRAM), "plumbfoot_study"), help="the program of tests/studies")
    parser.add_argument("--pictures", help="folder of pictures whose names say solar or lateral "
                                           "(else both views are tried), perhaps with a "
                                           "person's points beside them: NAME.points.json")
    parser.add_argument("--points", nargs="*", default=[sheet.PLATES],
                        help="more folders of such points")
    parser.add_argument("--sheet", default="sheet.png", help="the contact sheet to draw")
    parser.add_argument("--program", default=sheet.PROGRAM)
    parser.add_argument("--network-alone", action="store_true",
                        help="the pictures without the program around it")
    options = parser.parse_args()
    lessons.PAINTED = options.painted
    if options.no_plates:
        pictures.PLATES = pictures.CUT_OUTS = 0
    committed = os.path.join(lessons.HERE, "../network/calibration.json")
    if options.pictures and not options.network_alone:
        if not os.access(options.program, os.X_OK):
            raise SystemExit(f"{options.program} is not there: build it (cmake --build --preset "
                             "release), or say --program or --network-alone")
        sheet.make(options.pictures, options.sheet, options.points,
                   lambda path, view: sheet.measured(options.program, path, view))
        return
    device = "cuda" if torch.cuda.is_available() else "cpu"
    model = export.load(options.weights, device)
    if options.pictures:
        model = model.cpu()
        with open(options.tables or committed, encoding="utf-8") as file:
            tables = json.load(file)["384"]
        sheet.make(options.pictures, options.sheet, options.points,
                   lambda path, view: sheet.looked_at(
                       lambda *a: look(model, tables, *a), path, view))
        return

    def held_out(size, more):
        path = options.raw and os.path.join(options.raw, f"{size}_{more}.npz")
        if path and os.path.exists(path):
            return dict(np.load(path))
        result = lessons.held_out(model, device, options.seed + more, options.scenes, size,
                                  autocast=False, batch=options.batch, close=size == 384,
                                  photographs=options.photographs,
                                  mirrored_too=size == 384)
        if path:
            os.makedirs(options.raw, exist_ok=True)
            np.savez_compressed(path, **result)
        return result
    out = {}
    keep = options.keep or options.no_plates
    if keep:
        with open(options.tables or committed, encoding="utf-8") as file:
            out = json.load(file)
    for size in options.sizes if options.scenes else ():
        if not keep:
            out[str(size)] = calibration(held_out(size, 7),
                                         WRONG_PICTURES.get(size, 0.01))
        print(f"held-out scenes, size {size}")
        print(check(held_out(size, 8), out[str(size)]), flush=True)
    if options.tables and not keep and options.scenes:
        with open(options.tables + ".half", "w", encoding="utf-8") as file:
            file.write(as_json(out))
        os.replace(options.tables + ".half", options.tables)
    if options.pairs and os.access(options.study, os.X_OK):
        rendered(options.study, options.pairs, options.pair_seeds, options.width,
                 options.height)
    elif options.pairs:
        print(f"rendered photos: {options.study} is not there; tests/studies/run builds it")


if __name__ == "__main__":
    main()
