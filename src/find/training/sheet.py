# SPDX-License-Identifier: Apache-2.0
"""Pictures of real feet through the program, as a user would have them measured:
what is found, left open and refused, and how far from a person's points. The door
is evaluate.py --pictures."""
import glob
import json
import math
import os
import subprocess
import tempfile

import numpy as np

import lessons

ROOT = os.path.abspath(os.path.join(lessons.HERE, "../../.."))
PROGRAM = os.path.join(ROOT, "build/release/bin/plumbfoot")
PLATES = os.path.join(ROOT, "testdata/plates")
VIEWS = ("solar", "lateral")
ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic")
POINTS = {"solar": lessons.NAMES[:6], "lateral": lessons.NAMES[6:]}
CURVES = {"solar": "outline", "lateral": "dorsal_wall"}
# CHOSEN: colours of the six points, told apart on paper and on horn.
COLOURS = ((0, 0, 255), (0, 200, 0), (255, 0, 0), (0, 200, 220), (255, 0, 255),
           (255, 160, 0))
TILE = 420  # [px]


def pictures_in(folder):
    return sorted(p for p in glob.glob(os.path.join(glob.escape(folder), "*"))
                  if p.lower().endswith(ENDINGS))


def hand_points(path, folders):
    """@return a person's points for that picture (a points file named as it), or {}."""
    stem = os.path.splitext(os.path.basename(path))[0]
    for folder in folders:
        name = os.path.join(folder, stem + ".points.json")
        if os.path.exists(name):
            with open(name, encoding="utf-8") as file:
                return json.load(file)
    return {}


def views_of(path, hand):
    """@return the view that the points or the name tell, else both."""
    told = [v for v in VIEWS if v in hand] or \
        [v for v in VIEWS if v in os.path.basename(path).lower()]
    return told or list(VIEWS)


def measured(program, path, view):
    """Runs the program on one picture.

    @return {status, words, points}: points by name as the report has them, none if
      it was refused; words are the refusal.
    """
    with tempfile.TemporaryDirectory() as out:
        done = subprocess.run([program, "measure", "--foot", "LF", "--no-card", "--" + view,
                               path, "--out", out], capture_output=True, text=True,
                              timeout=300, check=False)
        report = os.path.join(out, "report.json")
        points = {}
        if done.returncode in (0, 3) and os.path.exists(report):
            with open(report, encoding="utf-8") as file:
                points = json.load(file)["points"].get(view, {})
    words = done.stderr.strip().splitlines()
    return {"view": view, "status": done.returncode, "words": words[0] if words else "",
            "points": points}


def looked_at(look, path, view):
    """The same from the network alone, asked at several scales."""
    import cv2
    picture = cv2.imread(path)
    if picture is None:
        return {"view": view, "status": 2, "words": "cannot be read", "points": {}}
    number = VIEWS.index(view)
    best = max((look(picture, number, share) for share in (0.55, 0.7, 0.85, 1.0)),
               key=lambda found: found["foot"] * found["sure"].mean())
    if best["foot"] < 0.5:
        return {"view": view, "status": 2, "words": f"foot {best['foot']:.2f}", "points": {}}
    points = {name: {"px": list(map(float, place)), "confidence": float(sure),
                     "sure": bool(sure >= 0.97)}
              for name, place, sure in zip(POINTS[view], best["places"], best["sure"])
              if sure >= 0.5}
    return {"view": view, "status": 3, "words": f"foot {best['foot']:.2f}", "points": points}


def placed(answer):
    """@return the points and curves that have a place."""
    return {k: v for k, v in answer["points"].items()
            if isinstance(v, dict) and v.get("px")}


ALL_OPEN = "seen, all left open"


def verdict(answer):
    """What there is to say where nothing has a place; else nothing."""
    if placed(answer):
        return ""
    return {2: "refused", 3: ALL_OPEN}.get(
        answer["status"], f"exit {answer['status']}")


def confidence(answer):
    return sum(v.get("confidence", 0) for v in placed(answer).values())


def to_edge(p, corners, closed):
    """The distance of p from the line through the corners."""
    ends = list(zip(corners, corners[1:] + corners[:1]))
    best = math.inf
    for a, b in ends if closed else ends[:-1]:
        along = (b[0] - a[0], b[1] - a[1])
        square = along[0] ** 2 + along[1] ** 2
        t = ((p[0] - a[0]) * along[0] + (p[1] - a[1]) * along[1]) / (square or 1)
        t = min(max(t, 0), 1)
        best = min(best, math.dist(p, (a[0] + t * along[0], a[1] + t * along[1])))
    return best


def hoof_width(hand, view):
    """The hoof's width across its length by the person's points, or the length of
    its support [px]; None where they don't tell."""
    if view == "lateral":
        if not (hand.get("toe_ground") and hand.get("heel_ground")):
            return None
        return math.dist(hand["toe_ground"], hand["heel_ground"])
    if not all(hand.get(k) for k in ("heel_left", "heel_right", "toe", "outline")):
        return None
    left, right, toe = (hand[k] for k in ("heel_left", "heel_right", "toe"))
    middle = ((left[0] + right[0]) / 2, (left[1] + right[1]) / 2)
    length = math.dist(toe, middle)
    across = [((toe[1] - middle[1]) * x - (toe[0] - middle[0]) * y) / length
              for x, y in hand["outline"]]
    return max(across) - min(across)


def errors(answer, hand):
    """@return {name: (% of the hoof's width, sure)} of what both have placed, and
    the names of what the program placed although the person sees no such point."""
    off, unseen = {}, []
    hand = hand.get(answer["view"])
    if hand is None:
        return off, unseen
    whole = hoof_width(hand, answer["view"])
    for name, entry in placed(answer).items():
        if not hand.get(name):
            # A list without it says nothing; null says that it can't be seen.
            if name in hand and name not in CURVES.values():
                unseen.append((name, entry.get("sure", False)))
            continue
        if whole is None:
            continue
        if name in CURVES.values():
            d = max(to_edge(p, hand[name], name == "outline") for p in entry["px"])
        else:
            d = math.dist(entry["px"], hand[name])
        off[name] = (100 * d / whole, entry.get("sure", False))
    return off, unseen


def line(name, answer, hand):
    """One row of the table."""
    names = POINTS[answer["view"]] + (CURVES[answer["view"]],)
    there = placed(answer)
    if not there:
        return (f"{name} | {answer['view']} | {verdict(answer)} | - | "
                f"{answer['words'][:90] or '-'}")
    sure = [k for k in names if k in there and there[k].get("sure")]
    open_ = [k for k in names if k not in there]
    off, unseen = errors(answer, hand)
    words = ", ".join(f"{k} {e:.1f} %{' sure' if s else ''}" for k, (e, s) in off.items())
    if unseen:
        words += "; a person sees no " + ", ".join(k + (" (sure)" if s else "")
                                                   for k, s in unseen)
    return (f"{name} | {answer['view']} | found {len(there)}, sure {len(sure)} | "
            f"{', '.join(open_) or '-'} | {words or '-'}")


def tile(path, answer, hand):
    """The picture with what was found: a thick ring is sure, a thin one is not; the
    person's points are crosses of the same colour."""
    import cv2
    out = np.full((TILE + 26, TILE + 10, 3), 128, np.uint8)
    name = os.path.splitext(os.path.basename(path))[0]
    cv2.putText(out, f"{name[:34]} {answer['view']} {verdict(answer)}", (3, 16), 0, 0.45,
                (255, 255, 255), 1)
    picture = cv2.imread(path)
    if picture is None:
        return out
    k = TILE / max(picture.shape[:2])
    small = cv2.resize(picture, None, fx=k, fy=k,
                       interpolation=cv2.INTER_AREA if k < 1 else cv2.INTER_LINEAR)
    there = placed(answer)
    curve = there.get(CURVES[answer["view"]])
    if curve:
        places = np.round(np.array(curve["px"]) * k).astype(np.int32)
        cv2.polylines(small, [places], answer["view"] == "solar",
                      (0, 140, 255), 2 if curve.get("sure") else 1, cv2.LINE_AA)
    told = hand.get(answer["view"]) or {}
    for which, colour in zip(POINTS[answer["view"]], COLOURS):
        if told.get(which):
            at = tuple(int(round(v * k)) for v in told[which])
            cv2.drawMarker(small, at, (255, 255, 255), cv2.MARKER_TILTED_CROSS, 13, 3)
            cv2.drawMarker(small, at, colour, cv2.MARKER_TILTED_CROSS, 13, 1)
        if which in there:
            at = tuple(int(round(v * k)) for v in there[which]["px"])
            cv2.circle(small, at, 7, (255, 255, 255), 4, cv2.LINE_AA)
            cv2.circle(small, at, 7, colour, 3 if there[which].get("sure") else 1,
                       cv2.LINE_AA)
    out[22:22 + small.shape[0], 5:5 + small.shape[1]] = small
    return out


def make(folder, sheet, points, answer_of, columns=5):
    """Measures every picture of the folder, prints the table and draws the sheet.

    @param points more folders with a person's points.
    @param answer_of (path, view) -> the answer, `measured` or `looked_at`.
    """
    import cv2
    tiles, off_all, refused, all_open, sure_bad = [], [], 0, 0, 0
    paths = pictures_in(folder)
    if not paths:
        raise SystemExit(f"{folder}: there are no pictures here")
    print("picture | view | what | left open | off, in % of the hoof's width")
    for path in paths:
        hand = hand_points(path, [folder, *points])
        answers = [answer_of(path, view) for view in views_of(path, hand)]
        answer = max(answers, key=confidence)
        print(line(os.path.basename(path), answer, hand), flush=True)
        tiles.append(tile(path, answer, hand))
        off, unseen = errors(answer, hand)
        off_all += list(off.values())
        sure_bad += sum(s for _, s in unseen)
        refused += answer["status"] == 2
        all_open += verdict(answer) == ALL_OPEN
    if off_all:
        e = np.array([v for v, _ in off_all])
        sure = np.array([s for _, s in off_all])
        print(f"{len(paths)} pictures, {refused} refused, {all_open} with all left "
              f"open; {len(e)} points and curves that a "
              f"person placed too: median {np.median(e):.1f} %, within 3 %: "
              f"{(e <= 3).sum()}; sure: {sure.sum()}, of these over 3 %: "
              f"{(e[sure] > 3).sum()}, and {sure_bad} that the person can't see")
    while len(tiles) % columns:
        tiles.append(np.zeros_like(tiles[0]))
    if not cv2.imwrite(sheet, np.vstack([np.hstack(tiles[i:i + columns])
                                         for i in range(0, len(tiles), columns)])):
        raise SystemExit(f"{sheet}: could not be written")
