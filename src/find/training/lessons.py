# SPDX-License-Identifier: Apache-2.0
"""Batches from painted scenes, the loss, and the errors on held-out scenes."""
import os

import numpy as np
import torch
from torch.nn import functional as F

import network
import painter
import pictures

HERE = os.path.dirname(os.path.abspath(__file__))
PAINTED = 512
NAMES = ("toe", "heel_left", "heel_right", "frog_apex", "frog_left", "frog_right",
         "toe_ground", "toe_hairline", "heel_ground", "heel_hairline",
         "pastern_upper", "pastern_lower")
# CHOSEN: training seeds count up from the seed's own million million; held-out
# scenes lie far above all of them.
HELD_OUT = 1 << 60


class Pool:
    """Painted scenes, each of which is looked at several times: for the finder's
    close second look, and for its wide first one."""

    def __init__(self, device, seed, batch, batches, start=0, wish=0):
        self.painter = painter.Painter(device)
        self.batch = batch
        self.next_seed = (seed << 40) + start
        self.wish = wish
        self.slots = {True: [], False: []}
        self.capacity = {True: batches * 2 // 3, False: batches - batches * 2 // 3}
        self.painted = 0
        self.choose = np.random.default_rng([seed, start])
        for _ in range(batches):
            self.refresh()

    def refresh(self):
        seeds = np.arange(self.next_seed, self.next_seed + self.batch, dtype=np.uint64)
        self.next_seed += self.batch
        close = self.painted % 3 != 2
        self.painted += 1
        views = np.arange(self.batch) % 2 + (painter.CLOSE if close else 0) + self.wish
        slots = self.slots[close]
        slots.append(self.painter.paint(seeds, views, PAINTED))
        if len(slots) > self.capacity[close]:
            del slots[0]

    def draw(self, count, close):
        """@return count scenes from the whole pool, both views alike, most of them
        close or wide."""
        picked = [[] for _ in range(3)]
        for _ in range(4):
            # CHOSEN: one in eight is of the other kind.
            slots = self.slots[close != (self.choose.random() < 0.125)]
            slot = slots[self.choose.integers(len(slots))]
            rows = self.choose.permutation(self.batch // 2)[:count // 8] * 2
            rows = np.concatenate([rows, rows + 1])
            rows = torch.from_numpy(rows).to(self.painter.device, non_blocking=True)
            for part in range(3):
                picked[part].append(slot[part][rows])
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
    masks = masks * (foot[:, None] > pictures.constant(
        (0, 0, 0, 0, -1, 0), foot.device))[..., None, None]
    shown = (~dice.chance(n, 0.15)).float()
    x = pictures.network_input(picture, card, known, view, shown)
    return x, points, masks, foot, view, mm


def own_points(view):
    """Indices of the six points of each picture's view, n x 6."""
    return view.long()[:, None] * 6 + torch.arange(6, device=view.device)[None]


def loss_of(maps, foot_logit, points, masks, foot, view, foot_weight, elsewhere=1.0,
            sigma=1.0, reach=3):
    """
    @param elsewhere what a picture without a foot weighs in the loss of points and
      masks, which are not there.
    @return the loss and its parts.
    """
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
    told = foot + elsewhere * (1 - foot)
    points_loss = (told[:, None] *
                   (total - torch.where(there, hit, torch.zeros_like(hit)))).mean()
    logits = maps[:, network.POINTS:].float()
    target = masks
    mask_loss = (told[:, None, None, None] * F.binary_cross_entropy_with_logits(
        logits, target, reduction="none")).mean()
    chance = torch.sigmoid(logits[:, :4])
    both = (chance * target[:, :4]).sum((2, 3))
    sum_ = chance.sum((2, 3)) + target[:, :4].sum((2, 3))
    dice = (told[:, None] * (1 - (2 * both + 20) / (sum_ + 20))).mean()
    foot_loss = F.binary_cross_entropy_with_logits(foot_logit[:, 0].float(), foot)
    loss = points_loss + 6 * mask_loss + 1.0 * dice + foot_weight * foot_loss
    return loss, (points_loss.detach(), mask_loss.detach(), dice.detach(), foot_loss.detach())


def asked(model, x, mirrored_too):
    """What the network answers, or, as `Together` in network_finder.cpp, what it
    and its answer to the mirrored pictures say together.

    @return maps n x 18 x h/2 x w/2 and foot n x 1, logits.
    """
    maps, foot = (part.float() for part in model(x))
    if not mirrored_too:
        return maps, foot
    other, other_foot = (part.float() for part in model(x.flip(3)))
    index = pictures.constant(
        pictures.MIRRORED + tuple(range(network.POINTS, maps.shape[1])), maps.device)
    other = other.flip(3)[:, index]
    likely, unseen = 0, 0
    for each in (maps, other):
        flat = each[:, :network.POINTS].flatten(2)
        total = torch.logaddexp(torch.logsumexp(flat, -1),
                                torch.zeros_like(flat[..., 0]))[..., None]
        likely = likely + 0.5 * torch.exp(flat - total)
        unseen = unseen + 0.5 * torch.exp(-total)
    points = likely.clamp(min=1e-12).log() - unseen.clamp(min=1e-12).log()
    masks = 0.5 * (maps + other)[:, network.POINTS:]
    return (torch.cat([points.reshape(maps.shape[0], network.POINTS, *maps.shape[2:]),
                       masks], 1), 0.5 * (foot + other_foot))


@torch.no_grad()
def held_out(model, device, seed, count, size, batch=64, autocast=True, close=True,
             wish=0, photographs=None, mirrored_too=False):
    """Raw results on held-out scenes, as they are trained on.

    @param close windows of the finder's second look, or of its first.
    @param photographs what photographs.py wrote: the tenth that no lesson sees is used.
    @param mirrored_too look at each also mirrored, as the program's second look.

    @return a dictionary of arrays: where the six points of the view are and were
      found [mm], n x 6 x 2; there; likelihood; spread, n x 6 x 3 (xx, xy, yy)
      [mm^2]; foot, foot_score, view, kind; iou (hoof, frog).
    """
    source = painter.Painter(device)
    dice = pictures.Dice(device, seed + 991, photographs and
                         pictures.photographs(photographs, device, True))
    model.eval()
    rows = {k: [] for k in ("truth", "found", "there", "likelihood", "spread", "foot",
                            "foot_score", "view", "kind", "iou")}
    first = HELD_OUT + (seed << 40)
    for start in range(0, count, batch):
        seeds = np.arange(first + start, first + min(start + batch, count), dtype=np.uint64)
        views = np.arange(len(seeds)) % 2 + (painter.CLOSE if close else 0) + wish
        scenes = source.paint(seeds, views, PAINTED)
        x, points, masks, foot, view, mm = lesson(dice, scenes, size)
        with torch.autocast(torch.device(device).type, torch.bfloat16, enabled=autocast):
            maps, score = asked(model, x, mirrored_too)
        h, w = maps.shape[2:]
        index = own_points(view)
        read = network.read_points(maps.float().gather(
            1, index[..., None, None].expand(-1, -1, h, w)), mm)
        truth = points.gather(1, index[..., None].expand(-1, -1, 3))
        rows["truth"].append(truth[..., :2] * mm[:, None, None])
        rows["found"].append(read[..., :2] * mm[:, None, None])
        rows["there"].append(truth[..., 2] > 0.5)
        rows["likelihood"].append(read[..., 2])
        rows["spread"].append(read[..., 3:] * (mm * mm)[:, None, None])
        rows["foot"].append(foot)
        rows["foot_score"].append(torch.sigmoid(score[:, 0].float()))
        rows["view"].append(view)
        rows["kind"].append(torch.where((foot < 0.5) & (scenes[2][:, 4] == 0),
                                        float(len(painter.KINDS)), scenes[2][:, 4]))
        target = masks > 0.5
        found = maps[:, network.POINTS:].float() > 0
        both = (target & found).sum((2, 3)).float()
        either = (target | found).sum((2, 3)).float()
        rows["iou"].append((both / either.clamp(min=1))[:, :2])
    return {k: torch.cat(v).float().cpu().numpy() for k, v in rows.items()}


def errors(result):
    """@return the distances [mm], nan where a point is not there."""
    off = np.linalg.norm(result["found"] - result["truth"], axis=-1)
    return np.where(result["there"] > 0.5, off, np.nan)


def angles(result):
    """Errors of the side view's toe and heel angle, from the points alone [degrees]."""
    rows = (result["view"] == 1) & (result["foot"] > 0.5)
    out = {}
    for name, top, low in (("toe angle", 1, 0), ("heel angle", 3, 2)):
        seen = rows & (result["there"][:, [0, 2, top]].min(1) > 0.5)

        def angle(at):
            wall = at[seen, top] - at[seen, low]
            bearing = at[seen, 2] - at[seen, 0]
            cross = wall[:, 0] * bearing[:, 1] - wall[:, 1] * bearing[:, 0]
            return np.degrees(np.arctan2(np.abs(cross), (wall * bearing).sum(-1)))
        out[name] = np.abs(angle(result["found"]) - angle(result["truth"]))
    return out


def summary(result):
    """The errors as numbers: per point the median and 95th percentile [mm], the
    masks' overlap, the angles [degrees], what is taken for a foot."""
    off = errors(result)
    feet = result["foot"] > 0.5
    out = {"scenes": int(len(feet))}
    for k, name in enumerate(NAMES):
        e = off[feet & (result["view"] == k // 6), k % 6]
        e = e[~np.isnan(e)]
        if e.size:
            out[name] = [round(float(np.quantile(e, q)), 3) for q in (0.5, 0.95)]
    for view, name in ((0, "solar"), (1, "lateral")):
        iou = result["iou"][feet & (result["view"] == view)]
        if len(iou):
            out[name + " hoof overlap"] = [round(float(np.quantile(iou[:, 0], q)), 4)
                                           for q in (0.5, 0.05)]
    iou = result["iou"][feet & (result["view"] == 0)]
    if len(iou):
        out["frog overlap"] = [round(float(np.quantile(iou[:, 1], q)), 4) for q in (0.5, 0.05)]
    for name, e in angles(result).items():
        if e.size:
            out[name] = [round(float(np.quantile(e, q)), 3) for q in (0.5, 0.95)]
    score = result["foot_score"] > 0.5
    for kind, name in enumerate(painter.KINDS + ("the other view",)):
        rows = (result["kind"] == kind) & (feet if kind == 0 else ~feet)
        if rows.any():
            out["taken for a foot: " + name] = [round(float(score[rows].mean()), 4),
                                                int(rows.sum())]
    return out


def table(result, confidence=None, sure=0.95):
    """The errors in words.

    @param confidence of each point, n x 6: else its likelihood.
    """
    off = errors(result)
    confidence = result["likelihood"] if confidence is None else confidence
    feet = result["foot"] > 0.5
    lines = [f"{'point':14s} {'n':>5s} {'median':>7s} {'p95':>7s} {'>5mm':>6s} "
             f"{'sure':>6s} {'sure>5':>7s} {'sure, not there':>15s}"]
    total, wrong = 0, 0
    for k, name in enumerate(NAMES):
        rows = feet & (result["view"] == k // 6)
        e = off[rows, k % 6]
        there = ~np.isnan(e)
        if not there.any():
            continue
        is_sure = confidence[rows, k % 6] >= sure
        bad = (e[is_sure & there] > 5).sum()
        total += is_sure.sum()
        wrong += bad + (is_sure & ~there).sum()
        lines.append(
            f"{name:14s} {there.sum():5d} {np.median(e[there]):7.2f} "
            f"{np.percentile(e[there], 95):7.2f} {(e[there] > 5).mean():6.3f} "
            f"{(is_sure & there).sum() / there.sum():6.3f} "
            f"{bad / max(1, (is_sure & there).sum()):7.4f} {(is_sure & ~there).sum():15d}")
    lines.append(f"sure: {total}, of these more than 5 mm off or not there: "
                 f"{wrong / max(1, total):.4f}")
    for name, e in angles(result).items():
        if e.size:
            lines.append(f"{name}: mean error {e.mean():.2f}, median {np.median(e):.2f} degrees")
    for view, name in ((0, "solar"), (1, "lateral")):
        rows = feet & (result["view"] == view)
        if rows.any():
            lines.append(f"{name}: hoof IoU median {np.median(result['iou'][rows, 0]):.3f}, "
                         f"5th percentile {np.percentile(result['iou'][rows, 0], 5):.3f}")
    rows = feet & (result["view"] == 0)
    if rows.any():
        lines.append(f"frog IoU median {np.median(result['iou'][rows, 1]):.3f}")
    score = result["foot_score"]
    for kind, name in enumerate(painter.KINDS + ("the other view",)):
        rows = (result["kind"] == kind) & (feet if kind == 0 else ~feet)
        if rows.any():
            by_view = ", ".join(f"{word} {np.mean(score[own] > 0.5):.3f}" for view, word in
                                ((0, "soles"), (1, "sides"))
                                if (own := rows & (result["view"] == view)).any())
            lines.append(f"{name}: {rows.sum()}, taken for a foot {np.mean(score[rows] > 0.5):.3f} "
                         f"({by_view}), and with a sure point "
                         f"{np.mean((score[rows] > 0.5) & (confidence[rows].max(1) >= sure)):.3f}")
    return "\n".join(lines)
