# SPDX-License-Identifier: Apache-2.0
"""How far a found point or curve is from where it should be."""
import math

import numpy as np


def to_line(p, line, closed):
    """@return the distance of p from the line through the corners."""
    line = np.array(line)
    a, b = (line, np.roll(line, -1, 0)) if closed else (line[:-1], line[1:])
    along = b - a
    square = np.maximum((along**2).sum(1), 1e-12)
    t = np.clip(((p - a) * along).sum(1) / square, 0, 1)
    return np.hypot(*(p - a - t[:, None] * along).T).min()


def whole(view, points):
    """@return the hoof's width across its length, or its length on the ground."""
    if view == "lateral":
        if points.get("toe_ground") and points.get("heel_ground"):
            return math.dist(points["toe_ground"], points["heel_ground"])
        # CHOSEN: of a foot whose toe or heel is covered; about the same.
        return 1.4 * math.dist(points["dorsal_wall"][0], points["dorsal_wall"][-1])
    middle = (np.array(points["heel_left"]) + points["heel_right"]) / 2
    ahead = np.array(points["toe"]) - middle
    ahead /= np.hypot(*ahead)
    across = (np.array(points["outline"]) - middle) @ (ahead[1], -ahead[0])
    return np.ptp(across)


def from_pastern(at, points):
    """@return the distance from the pastern's line, the only thing that its two
    points are for; None where there is none."""
    if any(points.get(k) is None for k in ("pastern_lower", "pastern_upper")):
        return None
    low, high = np.array(points["pastern_lower"]), np.array(points["pastern_upper"])
    along = (high - low) / np.hypot(*(high - low))
    off = np.array(at) - low
    return abs(along[0] * off[1] - along[1] * off[0])


def off(name, entry, points):
    """@param entry of a report's points.
    @return how far it is from where it should be [px]; None where there is no such
      point. The heels of a side are compared where they were seen, of the pastern's
      points only the distance from its line counts."""
    if points.get(name) is None or not len(points[name]):
        return None
    if name in ("outline", "dorsal_wall"):
        return max(to_line(p, points[name], name == "outline") for p in entry["px"])
    at = entry.get("seen_px", entry["px"])
    if name.startswith("pastern"):
        return from_pastern(at, points)
    return math.dist(at, points[name])
