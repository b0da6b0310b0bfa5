# SPDX-License-Identifier: Apache-2.0
"""Batches from painted scenes, the loss, and the errors on held-out scenes."""
import os

import numpy as np
import torch
from torch.nn import functional as F

import network
import pictures
from painter import Painter

HERE = os.path.dirname(os.path.abspath(__file__))
PAINTED = 512
NAMES = ("toe", "heel_left", "heel_right", "frog_apex", "frog_left", "frog_right",
         "toe_ground", "toe_hairline", "heel_ground", "heel_hairline",
         "pastern_upper", "pastern_lower")
# CHOSEN: training seeds count up from the seed's own million million; held-out
# scenes lie far above all of them.
HELD_OUT = 1 << 60


class Pool:
    """Painted scenes, each of which is looked at several times."""

    def __init__(self, device, seed, batch, batches, start=0):
        self.painter = Painter(device)
        self.batch = batch
        self.next_seed = (seed << 40) + start
        self.slots = []
        self.oldest = 0
        self.capacity = batches
        self.choose = np.random.default_rng([seed, start])
        for _ in range(batches):
            self.refresh()

    def refresh(self):
        seeds = np.arange(self.next_seed, self.next_seed + self.batch, dtype=np.uint64)
        self.next_seed += self.batch
        views = np.arange(self.batch) % 2
        new = self.painter.paint(seeds, views, PAINTED)
        if len(self.slots) < self.capacity:
            self.slots.append(new)
        else:
            self.slots[self.oldest] = new
            self.oldest = (self.oldest + 1) % self.capacity

    def draw(self, count):
        """@return count scenes from the whole pool, both views alike."""
        picked = [[] for _ in range(3)]
        which = self.choose.integers(0, len(self.slots), 4)
        for k in range(4):
            rows = self.choose.permutation(self.batch // 2)[:count // 8] * 2
            rows = np.concatenate([rows, rows + 1])
            rows = torch.from_numpy(rows).to(self.painter.device)
            for part in range(3):
                picked[part].append(self.slots[which[k]][part][rows])
        return [torch.cat(part) for part in picked]


def lesson(dice, scenes, size):
    """One batch: input, points, masks, foot, view, mm per px."""
    painted, points, facts = scenes
    n = painted.shape[0]
    picture, masks, card, known, points, mm = pictures.windows(
        dice, painted, points, facts, size)
    picture = pictures.photographed(dice, picture)
    view = facts[:, 2]
    foot = facts[:, 1]
    # A side view offered as a sole, and the other way round, is no foot.
    wrong = dice.chance(n, 0.04)
    view = torch.where(wrong, 1 - view, view)
    foot = torch.where(wrong, torch.zeros_like(foot), foot)
    # A scrap of something over the picture.
    scrap = dice.chance(n, 0.12)
    axis = torch.arange(size, device=dice.device) + 0.5
    at = dice.uniform((n, 2), 0, size)
    half = dice.uniform((n, 2), 0.02 * size, 0.09 * size)
    inside = ((axis[None, None, :] - at[:, 0, None, None]).abs() < half[:, 0, None, None]) & \
             ((axis[None, :, None] - at[:, 1, None, None]).abs() < half[:, 1, None, None])
    inside = (inside & scrap[:, None, None])[:, None]
    picture = torch.where(inside, dice.uniform((n, 3, 1, 1)) +
                          0.1 * dice.normal(picture.shape), picture).clamp(0, 1)
    covered = (((points[..., 0] - at[:, None, 0]).abs() < half[:, None, 0] - 3) &
               ((points[..., 1] - at[:, None, 1]).abs() < half[:, None, 1] - 3) &
               scrap[:, None])
    points = torch.cat([points[..., :2],
                        (points[..., 2:] > 0.5).float() * (~covered)[..., None]], -1)
    points = torch.cat([points[..., :2], points[..., 2:] * foot[:, None, None]], -1)
    masks = masks * foot[:, None, None, None]
    shown = (~dice.chance(n, 0.15)).float()
    x = pictures.network_input(picture, card, known, view, shown)
    return x, points, masks, foot, view, mm


def own_points(view):
    """Indices of the six points of each picture's view, n x 6."""
    return view.long()[:, None] * 6 + torch.arange(6, device=view.device)[None]


def loss_of(maps, foot_logit, points, masks, foot, view, sigma=1.0, reach=3):
    """@return the loss and its parts."""
    n, _, h, w = maps.shape
    index = own_points(view)
    own = maps.gather(1, index[..., None, None].expand(-1, -1, h, w)).float()
    truth = points.gather(1, index[..., None].expand(-1, -1, 3))
    there = truth[..., 2] > 0.5
    flat = own.reshape(n, 6, h * w)
    total = torch.logsumexp(flat, -1)
    total = torch.logaddexp(total, torch.zeros_like(total))
    at = truth[..., :2] / network.STRIDE - 0.5
    cell = at.round()
    steps = torch.arange(-reach, reach + 1, device=maps.device)
    dy, dx = torch.meshgrid(steps, steps, indexing="ij")
    gx = cell[..., 0:1] + dx.reshape(-1)
    gy = cell[..., 1:2] + dy.reshape(-1)
    weight = torch.exp(-0.5 * ((gx - at[..., 0:1]) ** 2 + (gy - at[..., 1:2]) ** 2) / sigma ** 2)
    weight = weight * ((gx >= 0) & (gx < w) & (gy >= 0) & (gy < h))
    weight = weight / weight.sum(-1, keepdim=True).clamp(min=1e-6)
    where = (gx.clamp(0, w - 1) + w * gy.clamp(0, h - 1)).long()
    hit = (flat.gather(-1, where) * weight).sum(-1)
    points_loss = (total - torch.where(there, hit, torch.zeros_like(hit))).mean()
    logits = maps[:, network.POINTS:].float()
    target = masks
    mask_loss = F.binary_cross_entropy_with_logits(logits, target)
    chance = torch.sigmoid(logits[:, :4])
    both = (chance * target[:, :4]).sum((2, 3))
    sum_ = chance.sum((2, 3)) + target[:, :4].sum((2, 3))
    dice = (1 - (2 * both + 20) / (sum_ + 20)).mean()
    foot_loss = F.binary_cross_entropy_with_logits(foot_logit[:, 0].float(), foot)
    loss = points_loss + 6 * mask_loss + 1.0 * dice + 0.5 * foot_loss
    return loss, (points_loss.detach(), mask_loss.detach(), dice.detach(), foot_loss.detach())


@torch.no_grad()
def held_out(model, device, seed, count, size, batch=64, autocast=True, widest=None):
    """Raw results on held-out scenes, as they are trained on.

    @param widest take only scenes whose painted window is narrower [mm].

    @return a dictionary of arrays: error [mm] n x 6 (nan where not there),
      seen, mass, spread [mm], there, foot, foot_score, view, iou (hoof, frog).
    """
    painter = Painter(device)
    dice = pictures.Dice(device, seed + 991)
    model.eval()
    rows = {k: [] for k in ("error", "error_x", "seen", "mass", "spread", "there", "foot",
                            "foot_score", "view", "iou")}
    first = HELD_OUT + (seed << 40)
    wanted = np.arange(first, first + count * (4 if widest else 1), dtype=np.uint64)
    views = np.arange(len(wanted)) % 2
    if widest:
        labels = painter.draw(wanted, views, PAINTED)[1]
        narrow = (labels[:, 36] * PAINTED < widest).numpy()
        wanted, views = wanted[narrow][:count], views[narrow][:count]
    for start in range(0, len(wanted), batch):
        seeds = wanted[start:start + batch]
        scenes = painter.paint(seeds, views[start:start + batch], PAINTED)
        x, points, masks, foot, view, mm = lesson(dice, scenes, size)
        with torch.autocast(torch.device(device).type, torch.bfloat16, enabled=autocast):
            maps, score = model(x)
        h, w = maps.shape[2:]
        index = own_points(view)
        read = network.read_points(maps.float().gather(
            1, index[..., None, None].expand(-1, -1, h, w)))
        truth = points.gather(1, index[..., None].expand(-1, -1, 3))
        there = truth[..., 2] > 0.5
        delta = (read[..., :2] - truth[..., :2]) * mm[:, None, None]
        rows["error"].append(torch.where(there, delta.norm(dim=-1), torch.nan))
        rows["error_x"].append(delta[..., 0])
        rows["seen"].append(read[..., 2])
        rows["mass"].append(read[..., 3])
        rows["spread"].append((read[..., 4] + read[..., 6]).clamp(min=0).sqrt() * mm[:, None])
        rows["there"].append(there)
        rows["foot"].append(foot)
        rows["foot_score"].append(torch.sigmoid(score[:, 0].float()))
        rows["view"].append(view)
        target = masks > 0.5
        found = maps[:, network.POINTS:].float() > 0
        both = (target & found).sum((2, 3)).float()
        either = (target | found).sum((2, 3)).float()
        rows["iou"].append((both / either.clamp(min=1))[:, :2])
    return {k: torch.cat(v).float().cpu().numpy() for k, v in rows.items()}


def table(result):
    """The errors in words."""
    lines = [f"{'point':14s} {'n':>5s} {'median':>7s} {'p95':>7s} {'>5mm':>6s} "
             f"{'seen':>6s} {'sure':>6s} {'sure>5':>6s}"]
    for k, name in enumerate(NAMES):
        view = k // 6
        rows = (result["view"] == view)
        error = result["error"][rows, k % 6]
        seen = result["seen"][rows, k % 6]
        mass = result["mass"][rows, k % 6]
        there = ~np.isnan(error)
        e = error[there]
        if e.size == 0:
            continue
        sure = there & (seen > 0.8) & (mass > 0.9)
        wrong = (error[sure] > 5).mean() if sure.any() else float("nan")
        lines.append(f"{name:14s} {there.sum():5d} {np.median(e):7.2f} {np.percentile(e, 95):7.2f} "
                     f"{(e > 5).mean():6.3f} {(seen[there] > 0.5).mean():6.3f} "
                     f"{sure.sum() / max(1, there.sum()):6.3f} {wrong:6.3f}")
    foot = result["foot"] > 0.5
    solar = result["view"] == 0
    for view, name in ((0, "solar"), (1, "lateral")):
        rows = foot & (result["view"] == view)
        lines.append(f"{name}: hoof IoU median {np.median(result['iou'][rows, 0]):.3f}, "
                     f"5th percentile {np.percentile(result['iou'][rows, 0], 5):.3f}")
    lines.append(f"frog IoU median {np.median(result['iou'][foot & solar, 1]):.3f}")
    score = result["foot_score"]
    lines.append(f"foot seen at 0.5: of feet {np.mean(score[foot] > 0.5):.3f}, "
                 f"of no feet {np.mean(score[~foot] > 0.5):.3f}")
    return "\n".join(lines)
