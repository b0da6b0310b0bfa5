# SPDX-License-Identifier: Apache-2.0
"""Teaches a finder.onnx anew what is a foot and what is none, and nothing else: its
maps stay as they are. For a machine without a GPU: half an hour on two cores.

  python3 foot.py --weights ../network/finder.onnx --work DIR --to DIR/finder.onnx

The network's trunk is asked once about each painted window; what its two coarsest
levels hold of it is kept in DIR, and the small head is trained on that.
"""
import argparse
import os
import time

import numpy as np
import torch
from torch.nn import functional as F

import export
import lessons
import network
import painter
import pictures

# Look: (size of the window, of the painted scene, close). CHOSEN: a little larger
# than the window, as a window is a part of the scene.
LOOKS = ((256, 288, False), (384, 400, True))
FEET = 0.45  # CHOSEN: of the scenes; what is no foot is to be learned.
WINDOWS = 4  # Cut from each scene.


def trunk(model, x):
    """@return what the head is given."""
    f4 = model.down3(model.down2(model.down1(model.stem(x))))
    return model.foot.pooled(f4, model.down4(f4)).flatten(1)


def chosen_seeds(source, first, count, wish):
    """The next `count` seeds, with fewer feet than the lessons have.

    @return seeds, views, the seed after the last.
    """
    seeds, views = [], []
    while len(seeds) < count:
        view = first % 2
        _, labels = source.draw([first], [view + wish], 512)
        rest = np.random.default_rng(first % (1 << 62)).random()
        # Of the lessons' scenes about seven in ten are feet.
        if labels[0, 37] < 0.5 or rest < FEET / (1 - FEET) * 0.3 / 0.7:
            seeds.append(first)
            views.append(view + wish)
        first += 1
    return seeds, views, first


@torch.no_grad()
def gather(model, folder, name, first, count, windows, batch=8):
    """Asks the trunk about `count` windows of each look; what is in the folder
    already is not asked again.

    @return a list of (features, foot, view, kind) for each look.
    """
    source = painter.Painter("cpu")
    out = []
    for size, painted, close in LOOKS:
        path = os.path.join(folder, f"{name}_{size}.npz")
        rows, at = [[], [], [], []], first
        if os.path.exists(path):
            with np.load(path) as kept:
                rows = [[kept[f"a{k}"]] for k in range(4)]
                at = int(kept["at"])
        stored = time.time()
        while sum(len(r) for r in rows[0]) < count:
            seeds, views, at = chosen_seeds(source, at, batch, painter.CLOSE if close else 0)
            scenes = source.paint(seeds, views, painted)
            for again in range(windows):
                dice = pictures.Dice("cpu", (seeds[0] * 8 + again) % (1 << 62))
                x, _, _, foot, view, _ = lessons.lesson(dice, scenes, size)
                for row, value in zip(rows, (trunk(model, x), foot, view, scenes[2][:, 4])):
                    row.append(value.numpy())
            if time.time() - stored > 20 or sum(len(r) for r in rows[0]) >= count:
                stored = time.time()
                rows = [[np.concatenate(r)] for r in rows]
                np.savez(path + ".half.npz", at=at, **{f"a{k}": r[0] for k, r in enumerate(rows)})
                os.replace(path + ".half.npz", path)
                print(f"{name} {size}: {len(rows[0][0])} windows", flush=True)
        out.append([torch.from_numpy(np.concatenate(r)) for r in rows])
    return out


def judged(score, sets):
    """@return the table: what is taken for a foot, for each kind and look."""
    lines = []
    for (size, _, _), s, (_, foot, view, kind) in zip(LOOKS, score, sets):
        p = torch.sigmoid(s)
        lines.append(f"size {size}: loss "
                     f"{F.binary_cross_entropy_with_logits(s, foot):.4f}")
        for number, name in enumerate(painter.KINDS):
            for v in (0, 1):
                rows = (kind == number) & (view == v) & ((foot > 0.5) == (number == 0))
                if rows.sum() >= 10:
                    lines.append(f"  {name}, {('solar', 'lateral')[v]}: {int(rows.sum())}, "
                                 f"over 0.5 {(p[rows] > 0.5).float().mean():.3f}, "
                                 f"0.02 to 0.8 {((p[rows] > 0.02) & (p[rows] < 0.8)).float().mean():.3f}")
    return "\n".join(lines)


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--weights", required=True, help="finder.onnx")
    parser.add_argument("--work", required=True, help="folder for what the trunk says")
    parser.add_argument("--to", help="the new finder.onnx")
    parser.add_argument("--seed", type=int, default=9)
    parser.add_argument("--windows", type=int, default=6000, help="to learn from, of each look")
    parser.add_argument("--check", type=int, default=1000, help="held-out windows of each look")
    parser.add_argument("--epochs", type=int, default=60)
    options = parser.parse_args()
    os.makedirs(options.work, exist_ok=True)
    torch.manual_seed(options.seed)
    torch.set_num_threads(2)
    model = network.Finder()
    source = painter.Painter("cpu")
    some = np.arange(16, dtype=np.uint64) + 77
    thaw = lessons.lesson(pictures.Dice("cpu", 1),
                          source.paint(some, np.arange(16) % 2 + painter.CLOSE, 256), 256)[0]
    export.thaw(model, options.weights, thaw)
    held = gather(model, options.work, "held_out", lessons.HELD_OUT + (options.seed << 40),
                  options.check, 1)
    old = [value for value, _ in export.frozen_convolutions(options.weights)[1]]
    if len(old) == 1:
        # The head before: the mean of the coarsest level alone.
        narrow = old[0].shape[1]
        bias = export.frozen_convolutions(options.weights)[1][0][1]
        start = held[0][0].shape[1] - 2 * narrow
        print("before\n" + judged([x[:, start:start + narrow] @ old[0].reshape(-1) + bias
                                   for x, *_ in held], held), flush=True)
    learn = gather(model, options.work, "learn", options.seed << 40, options.windows, WINDOWS)
    x = torch.cat([part[0] for part in learn])
    y = torch.cat([part[1] for part in learn])
    mean, spread = x.mean(0), x.std(0) + 1e-3
    x = (x - mean) / spread
    head = network.Foot((network.WIDTHS[4], network.WIDTHS[5]))
    hidden, out = head.hidden, head.out

    def score(v):
        v = F.relu(v @ hidden.weight[:, :, 0, 0].T + hidden.bias)
        return v @ out.weight[0, :, 0, 0] + out.bias
    # CHOSEN: as common as in the lessons.
    weight = torch.where(y > 0.5, 0.7 / y.mean(), 0.3 / (1 - y.mean()))
    optimiser = torch.optim.AdamW(head.parameters(), lr=2e-3, weight_decay=0.3)
    each = 128
    steps = options.epochs * (len(x) // each)
    plan = torch.optim.lr_scheduler.CosineAnnealingLR(optimiser, steps)
    averaged = {k: v.clone() for k, v in head.state_dict().items()}
    for step in range(steps):
        rows = torch.randint(len(x), (each,))
        noisy = F.dropout(x[rows], 0.2)
        loss = F.binary_cross_entropy_with_logits(score(noisy), y[rows], weight=weight[rows])
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        plan.step()
        for k, v in head.state_dict().items():
            averaged[k].lerp_(v, 0.005)
    head.load_state_dict(averaged)
    with torch.no_grad():
        print("learned from\n" + judged([score((s[0] - mean) / spread) for s in learn], learn))
        print("after, held out\n" + judged([score((s[0] - mean) / spread) for s in held], held))
        # The network's own features are not normalised: the head takes that over.
        flat = hidden.weight[:, :, 0, 0]
        hidden.bias.sub_(flat @ (mean / spread))
        flat.div_(spread)
        model.foot.load_state_dict(head.state_dict())
    if options.to:
        export.write(model, options.to)


if __name__ == "__main__":
    main()
