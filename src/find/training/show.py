# SPDX-License-Identifier: Apache-2.0
"""Draws painted scenes and their labels, to be looked at. Needs no GPU.

  python3 show.py --to S.png                    # four soles and four side views
  python3 show.py --to S.png --view 1 --kind frame --scenes 12 --size 256
  python3 show.py --to S.png --lesson 384       # as the network is shown them
"""
import argparse

import numpy as np
import torch

import lessons
import painter
import pictures

# CHOSEN: colours of the six points of a view, told apart on brown and on white.
COLOURS = ((0, 0, 255), (0, 255, 0), (255, 0, 0), (0, 220, 220), (255, 0, 255),
           (255, 160, 0))


def drawn(rgb, points, words, scale):
    """@param rgb 3 x h x w bytes; points 6 x 3 [px], there.
    @return the picture, enlarged, as OpenCV has it."""
    import cv2
    image = np.ascontiguousarray(rgb.transpose(1, 2, 0)[..., ::-1])
    image = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    for (x, y, there), colour in zip(points, COLOURS):
        if there > 0.5:
            at = (int(round(x * scale)), int(round(y * scale)))
            cv2.drawMarker(image, at, (255, 255, 255), cv2.MARKER_CROSS, 15, 3)
            cv2.drawMarker(image, at, colour, cv2.MARKER_CROSS, 15, 1)
    cv2.putText(image, words, (3, 12), 0, 0.4, (0, 0, 0), 3)
    cv2.putText(image, words, (3, 12), 0, 0.4, (255, 255, 255), 1)
    return image


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--to", required=True, help="the sheet, a PNG")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--scenes", type=int, default=8)
    parser.add_argument("--size", type=int, default=320, help="painted [px]")
    parser.add_argument("--scale", type=float, default=1.0, help="shown larger by this")
    parser.add_argument("--columns", type=int, default=4)
    parser.add_argument("--view", type=int, choices=(0, 1), help="0 sole, 1 side: else both")
    parser.add_argument("--wide", action="store_true", help="the first, wide look")
    parser.add_argument("--kind", choices=painter.KINDS, help="only these")
    parser.add_argument("--lesson", type=int, help="windows of this size, as they are learned")
    parser.add_argument("--photographs", help="for grounds and surfaces: what "
                                              "photographs.py wrote")
    options = parser.parse_args()
    source = painter.Painter("cpu")
    views = (0, 1) if options.view is None else (options.view,)
    wish = 0 if options.wide else painter.CLOSE
    seeds, kinds, at = [], [], options.seed * 1000003
    while len(seeds) < options.scenes:
        view = views[len(seeds) % len(views)]
        _, facts = source.draw([at], [view + wish], options.size)
        if not options.kind or painter.KINDS[int(facts[0, 40])] == options.kind:
            seeds.append(at)
            kinds.append(view + wish)
        at += 1
    painted, points, facts = source.paint(seeds, kinds, options.size)
    rgb = painted[:, :3]
    if options.lesson:
        dice = pictures.Dice("cpu", options.seed, options.photographs and
                             pictures.photographs(options.photographs, "cpu", False))
        x, points, _, _, view, _ = lessons.lesson(dice, (painted, points, facts), options.lesson)
        rgb = (x[:, :3] * 255).to(torch.uint8)
    else:
        view = facts[:, 2]
    own = points.gather(1, lessons.own_points(view)[..., None].expand(-1, -1, 3))
    tiles = [drawn(rgb[i].numpy(), own[i].numpy(),
                   f"{seeds[i]} {painter.KINDS[int(facts[i, 4])]} {facts[i, 0]:.2f} mm/px",
                   options.scale) for i in range(len(seeds))]
    while len(tiles) % options.columns:
        tiles.append(np.zeros_like(tiles[0]))
    import cv2
    cv2.imwrite(options.to, np.vstack([np.hstack(tiles[i:i + options.columns])
                                       for i in range(0, len(tiles), options.columns)]))


if __name__ == "__main__":
    main()
