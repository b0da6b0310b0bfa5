# SPDX-License-Identifier: Apache-2.0
"""From painted scenes to what a camera, a printer or an engraver made of them."""
import functools
import math
import zipfile

import numpy as np
import torch
from torch.nn import functional as F

import painter as p

# CHOSEN: old plates matter, but the work is photographs.
PLATES = 0.17
CUT_OUTS = 0.08
# CHOSEN: of the cut-outs those as a half-tone of old, and of all others those as an
# old photograph.
HALF_TONES = 0.65
OLD_PHOTOGRAPHS = 0.05
# CHOSEN: of the drawn and cut-out scenes those that have a card beside the foot all
# the same: what the style of a picture is must not say whether one is there.
CARD_IN_STYLED = 0.4
# CHOSEN: of the scenes whose ground, or whose surfaces, are made of photographs.
GROUNDS = 0.55
SURFACES = 0.55
# What the pictures are to lack, for the ablations: any of "light" (and colour),
# "blur" (and coarse pictures), "noise" (and sharpening and compression),
# "photographs".
LEFT_OUT = frozenset()
MIRRORED = (0, 2, 1, 3, 5, 4, 6, 7, 8, 9, 10, 11)


@functools.lru_cache(None)
def photographs(path, device, held_out):
    """@param path what photographs.py wrote.
    @param held_out the tenth that no lesson sees, or the others.
    @return n x 3 x side x side bytes.
    """
    import cv2
    with zipfile.ZipFile(path) as archive:
        squares = [cv2.imdecode(np.frombuffer(archive.read(name), np.uint8),
                                cv2.IMREAD_COLOR)[..., ::-1]
                   for k, name in enumerate(sorted(archive.namelist()))
                   if (k % 10 == 9) == held_out]
    return torch.from_numpy(np.stack(squares).transpose(0, 3, 1, 2).copy()).to(device)


class Dice:
    """Random numbers of one seed, on the device, and the photographs to draw from."""

    def __init__(self, device, seed, photographs=None):
        self.device = device
        self.photographs = photographs
        self.source = torch.Generator(device=device)
        self.source.manual_seed(seed)

    def uniform(self, shape, low=0.0, high=1.0):
        return low + (high - low) * torch.rand(shape, generator=self.source,
                                               device=self.device)

    def normal(self, shape):
        return torch.randn(shape, generator=self.source, device=self.device)

    def chance(self, n, share):
        return self.uniform((n,)) < share

    def some(self, n, share):
        """Indices of that share of n rows. Their number does not hang on the dice,
        so that a graph of all this can be replayed."""
        return self.uniform((n,)).argsort()[:round(n * share)]


@functools.lru_cache(None)
def constant(values, device):
    return torch.tensor(values, device=device)


def column(v):
    return v.reshape(-1, 1, 1, 1)


def smooth_noise(dice, n, size, cells):
    """Noise [0..1] whose grains are size / cells pixels wide."""
    coarse = dice.uniform((n, 1, cells, cells))
    return F.interpolate(coarse, size=(size, size), mode="bicubic",
                         align_corners=False).clamp(0, 1)


def strokes(dice, n, size, count, length, width, inside=0.9):
    """Ink [0..1] of straight strokes."""
    axis = torch.arange(size, device=dice.device) + 0.5
    x, y = axis.reshape(1, 1, 1, -1), axis.reshape(1, 1, -1, 1)
    a = dice.uniform((2, n, count, 1, 1), (1 - inside) * size / 2, (1 + inside) * size / 2)
    turn = dice.uniform((n, count, 1, 1), 0, 2 * math.pi)
    reach = dice.uniform((n, count, 1, 1), *length)
    dx, dy = reach * torch.cos(turn), reach * torch.sin(turn)
    px, py = x - a[0], y - a[1]
    t = ((px * dx + py * dy) / (dx * dx + dy * dy)).clamp(0, 1)
    d = torch.sqrt((px - t * dx) ** 2 + (py - t * dy) ** 2).amin(1, keepdim=True)
    return (column(width) - d + 0.5).clamp(0, 1)


def letters(dice, n, size, count):
    """Ink of small clusters of strokes that pass for letters."""
    axis = torch.arange(size, device=dice.device) + 0.5
    x, y = axis.reshape(1, 1, 1, -1), axis.reshape(1, 1, -1, 1)
    at = dice.uniform((2, n, count, 1, 1), 0.03 * size, 0.97 * size)
    high = dice.uniform((n, count, 1, 1), 0.012 * size, 0.03 * size)
    # One ring and two strokes.
    d = torch.sqrt((x - at[0]) ** 2 + (y - at[1]) ** 2)
    ring = (1.0 - (d - 0.6 * high).abs()).clamp(0, 1)
    ink = ring * (dice.uniform((n, count, 1, 1)) < 0.6)
    for _ in range(2):
        ox = dice.uniform((n, count, 1, 1), -0.7, 0.7) * high
        upright = dice.uniform((n, count, 1, 1)) < 0.6
        px, py = x - at[0] - ox, y - at[1]
        along = torch.where(upright, py, px)
        across = torch.where(upright, px, py)
        d = torch.maximum(across.abs(), along.abs() - 1.1 * high)
        ink = torch.maximum(ink, (1.5 - d).clamp(0, 1))
    return ink.amax(1, keepdim=True)


def as_plate(dice, pictures, gone, frame):
    """Engravings, line drawings, washes and screened half-tones of the scenes.

    @param gone what limb_left_out says.
    @param frame which are feet without horn: their lines alone don't tell.
    @return n x 3 x size x size [0..1]
    """
    n, _, size, _ = pictures.shape
    rgb = pictures[:, :3].float() / 255
    part = pictures[:, 3:4].float()
    shade = pictures[:, 5:6].float() / 255
    normal = pictures[:, 6:9].float() / 127.5 - 1
    foot = (part >= 1) & (part <= 5)
    pale = column(dice.chance(n, 0.5) & ~frame)
    grey = rgb.mean(1, keepdim=True)
    tone = torch.where(pale, 0.35 + 0.65 * shade, 0.5 * shade + 0.6 * grey)
    tone = (tone * column(dice.uniform((n,), 0.8, 1.5)) +
            column(dice.uniform((n,), -0.2, 0.25))).clamp(0, 1)
    # Lines where a part ends or the surface turns sharply.
    around = F.max_pool2d(part, 3, 1, 1) - part
    around = torch.maximum(around, part + F.max_pool2d(-part, 3, 1, 1))
    turn = (F.max_pool2d(normal, 3, 1, 1) + F.max_pool2d(-normal, 3, 1, 1)).sum(1, keepdim=True)
    line = torch.maximum((around > 0.5).float(),
                         (turn > column(dice.uniform((n,), 0.8, 2.0))).float())
    near_foot = F.max_pool2d(foot.float(), 3, 1, 1)
    line = line * near_foot
    bold = column(dice.chance(n, 0.5)).float()
    line = torch.maximum(line, bold * F.max_pool2d(line, 3, 1, 1))
    line = F.avg_pool2d(line, 3, 1, 1) * 1.8
    # Hatching: strokes that bend with the surface, closer where it is dark.
    axis = torch.arange(size, device=dice.device).float()
    x, y = axis.reshape(1, 1, 1, -1), axis.reshape(1, 1, -1, 1)
    way = column(dice.uniform((n,), 0, math.pi))
    period = column(dice.uniform((n,), 3.2, 7.5))
    bend = column(dice.uniform((n,), 0, 14))
    wobble = smooth_noise(dice, n, size, 24) * column(dice.uniform((n,), 0, 8))
    phase = ((x + bend * normal[:, 0:1]) * torch.cos(way) +
             (y + bend * normal[:, 1:2]) * torch.sin(way) + wobble) / period
    wave = 0.5 + 0.5 * torch.sin(2 * math.pi * phase)
    grain = dice.uniform((n, 1, size, size))
    crossed = 0.5 + 0.5 * torch.sin(2 * math.pi * (x * torch.sin(way) - y * torch.cos(way) + wobble) / period)
    kind = dice.uniform((n,))
    screen = torch.where(column(kind < 0.4), wave,
                         torch.where(column(kind < 0.55), torch.minimum(wave, crossed + 0.15), grain))
    hard = column(dice.uniform((n,), 4, 14))
    hatched = ((tone - screen * 0.95) * hard + 0.5).clamp(0, 1)
    hatched = torch.where(column(kind > 0.72), tone, hatched)  # A wash.
    only_lines = column(dice.chance(n, 0.15) & ~frame)
    hatched = torch.where(only_lines, torch.ones_like(tone), hatched)
    ink = 1 - hatched
    clean = column(dice.chance(n, 0.85))
    # Ground shading: a few strokes below the foot.
    some = (1 - hatched) * (part == p.PART_GROUND) * column(dice.chance(n, 0.3)) * \
        ((shade < 0.45).float())
    ink = torch.where(foot, ink, torch.where(clean, some, ink))
    ink = ink * ~gone
    line = line * ~gone
    ink = torch.maximum(ink, line * column(dice.uniform((n,), 0.5, 1.0)))
    lettered = column(dice.chance(n, 0.6)).float()
    width = dice.uniform((n,), 0.3, 0.9)
    ink = torch.maximum(ink, lettered * strokes(dice, n, size, 5, (0.08 * size, 0.35 * size), width))
    ink = torch.maximum(ink, lettered * letters(dice, n, size, 6))
    white_lines = column(dice.chance(n, 0.2)).float()
    ink = ink * (1 - white_lines * strokes(dice, n, size, 4, (0.1 * size, 0.4 * size), width))
    paper = column(dice.uniform((n,), 0.8, 1.0))
    black = column(dice.uniform((n,), 0.0, 0.25))
    grey = paper - (paper - black) * ink.clamp(0, 1)
    tint = 1 - 0.1 * dice.uniform((n, 3, 1, 1)) * column(dice.chance(n, 0.4))
    return grey * tint


def limb_left_out(dice, part, share):
    """Where the limb, which fades away some distance from the hoof or ends at it,
    is not drawn."""
    n, _, size, _ = part.shape
    axis = torch.arange(size, device=dice.device).float()
    x, y = axis.reshape(1, 1, 1, -1), axis.reshape(1, 1, -1, 1)
    hoof = ((part >= 1) & (part <= 4)).float()
    weight = hoof.sum((1, 2, 3)).clamp(min=1)
    hx = (hoof * x).sum((1, 2, 3)) / weight
    hy = (hoof * y).sum((1, 2, 3)) / weight
    d = torch.sqrt((x - column(hx)) ** 2 + (y - column(hy)) ** 2)
    d = d + smooth_noise(dice, n, size, 48) * 24
    cut = column(torch.sqrt(weight) * dice.uniform((n,), 0.35, 1.6))
    cut = torch.where(column(dice.chance(n, share)), cut, torch.full_like(cut, 1e6))
    return (part == p.PART_SKIN) & (d > cut)


def photograph(dice, n, size, bend=None):
    """A square of some photograph each, turned, scaled and perhaps seen aslant.

    @param bend n x 2 x size x size: how far it is to be shifted [squares].
    @return n x 3 x size x size [0..1]
    """
    squares = dice.photographs
    which = (dice.uniform((n,)) * squares.shape[0]).long()
    turn = dice.uniform((n,), 0, 2 * math.pi)
    # CHOSEN: from a third of the square over the whole picture to three of them.
    scale = torch.exp(dice.uniform((n,), math.log(0.35), math.log(3.0)))
    c, s = torch.cos(turn) * scale, torch.sin(turn) * scale
    at = dice.uniform((n, 2), -1, 1)
    theta = torch.stack([torch.stack([c, -s, at[:, 0]], -1),
                         torch.stack([s, c, at[:, 1]], -1)], 1)
    grid = F.affine_grid(theta, (n, 1, size, size), align_corners=False)
    axis = torch.linspace(-1, 1, size, device=dice.device)
    slant = dice.uniform((n, 2, 1, 1), -0.45, 0.45) * dice.chance(n, 0.6).reshape(n, 1, 1, 1)
    far = 1 + slant[:, 0] * axis[None, None, :] + slant[:, 1] * axis[None, :, None]
    grid = grid / far[..., None]
    if bend is not None:
        grid = grid + bend.permute(0, 2, 3, 1)
    return F.grid_sample(squares[which].float() / 255, grid, mode="bilinear",
                         padding_mode="reflection", align_corners=False)


def grain(square):
    """What a photograph adds to a surface's own colour: its shades without its
    mean, as powers of e."""
    shades = torch.log(square.mean(1, keepdim=True) + 0.05)
    shades = shades - shades.mean((2, 3), keepdim=True)
    return (shades / (shades.std((2, 3), keepdim=True) + 0.05)).clamp(-2.5, 2.5)


def of_photographs(dice, pictures, rgb):
    """Grounds and backgrounds that are photographs, in the scene's own light, and
    surfaces that have the grain of photographed ones.

    @return n x 3 x size x size [0..1]
    """
    n, _, size, _ = rgb.shape
    part = pictures[:, 3:4]
    shade = pictures[:, 5:6].float() / 255
    behind = ((part == p.PART_GROUND) | (part == 0)).float()
    behind = F.avg_pool2d(behind, 3, 1, 1)
    rows = dice.some(n, GROUNDS)
    if len(rows):
        m = len(rows)
        bright = column(torch.exp(dice.normal((m,)) * 0.4))
        seen = photograph(dice, m, size) ** 2.2 * shade[rows] * 1.5 * bright
        # The shoulder of the painter's tone curve.
        seen = (1 - torch.exp(-1.3 * seen)).clamp(min=1e-5) ** (1 / 2.2)
        rgb[rows] = rgb[rows] + behind[rows] * (seen - rgb[rows])
    rows = dice.some(n, SURFACES)
    if len(rows):
        m = len(rows)
        normal = pictures[rows, 6:8].float() / 127.5 - 1
        over = [photograph(dice, m, size, normal * column(dice.uniform((m,), 0, 0.4)))
                for _ in range(2)]
        own = part[rows]
        # One for the foot, another for its hair and what else is there.
        foot = (own >= p.PART_HORN) & (own <= p.PART_SHOE) & (own != p.PART_SKIN)
        rest = (own == p.PART_SKIN) | (own == p.PART_THING)
        some = rgb[rows]
        for square, where, most in zip(over, (foot, rest), (0.3, 0.4)):
            where = F.avg_pool2d(where.float(), 3, 1, 1)
            strength = column(dice.uniform((m,), 0, most))
            grained = some * torch.exp(strength * grain(square))
            tinge = column(dice.uniform((m,), -0.4, 0.3).clamp(min=0))
            grained = grained + tinge * (square * (0.3 + shade[rows]) - grained)
            some = some + where * (grained - some)
        rgb[rows] = some.clamp(0, 1)
    return rgb


def as_of_old(dice, rgb):
    """Grey, and of hard or weak contrast, as an old photograph in print."""
    n = rgb.shape[0]
    grey = rgb.mean(1, keepdim=True).clamp(1e-4, 1)
    grey = grey ** column(torch.exp(dice.normal((n,)) * 0.45))
    grey = grey * column(dice.uniform((n,), 0.35, 0.65)) / \
        grey.mean((1, 2, 3), keepdim=True).clamp(min=0.15)
    grey = (grey - 0.5) * column(dice.uniform((n,), 0.7, 2.2)) + 0.5
    return grey.clamp(0, 1).expand(-1, 3, -1, -1)


def as_cut_out(dice, pictures, rgb, gone):
    """The foot alone on a plain ground, as in an old half-tone plate.

    @param gone what limb_left_out says.
    """
    n, _, size, _ = rgb.shape
    part = pictures[:, 3:4].float()
    foot = ((part >= 1) & (part <= 5) & ~gone).float()
    foot = F.avg_pool2d(foot, 3, 1, 1)
    plain = torch.where(column(dice.chance(n, 0.8)), dice.uniform((n, 1, 1, 1), 0.85, 1.0),
                        dice.uniform((n, 1, 1, 1)))
    half_tone = column(dice.chance(n, HALF_TONES))
    rgb = torch.where(half_tone, as_of_old(dice, rgb), rgb)
    cut = rgb * foot + plain * (1 - foot)
    lettered = (half_tone & column(dice.chance(n, 0.6))).float()
    width = dice.uniform((n,), 0.3, 0.9)
    ink = torch.maximum(strokes(dice, n, size, 5, (0.08 * size, 0.35 * size), width),
                        letters(dice, n, size, 6)) * lettered
    # Leading lines are black, or white where the foot is dark.
    colour = column(dice.chance(n, 0.8)).float()
    return cut * (1 - ink) + (1 - colour) * ink


def windows(dice, pictures, points, facts, size, share=(0.72, 1.0)):
    """Cuts a turned, scaled and perhaps mirrored window out of each picture.

    @return picture n x 3 x size x size [0..1], masks n x 6 x size/2 x size/2,
      card and known n x 1 x size x size, points n x 12 x 3 in the window [px] (there: 0 or 1),
      mm per px n.
    """
    n, _, full, _ = pictures.shape
    device = dice.device
    rgb = pictures[:, :3].float() / 255
    if dice.photographs is not None and "photographs" not in LEFT_OUT:
        rgb = of_photographs(dice, pictures, rgb)
    styled = torch.zeros(n, dtype=torch.bool, device=device)
    rows = dice.some(n, PLATES + CUT_OUTS)
    plates = round(len(rows) * PLATES / max(1e-9, PLATES + CUT_OUTS))
    styled.index_fill_(0, rows, True)
    part = pictures[:, 3:4]
    gone = torch.zeros_like(part, dtype=torch.bool)
    if len(rows):
        gone[rows] = limb_left_out(dice, part[rows], 0.55)
    if plates:
        drawn = rows[:plates]
        rgb[drawn] = as_plate(dice, pictures[drawn], gone[drawn],
                              facts[drawn, 4] == p.KINDS.index("no horn"))
    if len(rows) > plates:
        bare = rows[plates:]
        rgb[bare] = as_cut_out(dice, pictures[bare], rgb[bare], gone[bare])
    marks = pictures[:, 4:5].int()
    masks = torch.cat([((marks >> k) & 1).float() for k in range(6)], 1)
    masks[:, 3:4] *= ~gone
    # In a plate a thing leaves a hole, and so does the card, where it is not drawn.
    carded = column(~styled | dice.chance(n, CARD_IN_STYLED))
    card = (part == p.PART_CARD) & carded & column(styled)
    rgb = torch.where(card, pictures[:, :3].float() / 255, rgb)
    cover = (part == p.PART_THING).float() + (part == p.PART_CARD) * carded
    masks[:, 4:5] *= carded.float()
    cover = F.avg_pool2d(cover[..., ::2, ::2], 5, 1, 2)
    scale = dice.uniform((n,), *share)
    turn = dice.normal((n,)) * 0.1
    room = 0.65 * (1 - scale)[:, None] + 0.04
    shift = dice.uniform((n, 2), -1, 1) * room
    mirror = torch.where(dice.chance(n, 0.5), 1.0, -1.0)
    c, s = torch.cos(turn) * scale, torch.sin(turn) * scale
    # From window to picture, both as -1..1.
    theta = torch.stack([torch.stack([c * mirror, -s, shift[:, 0]], -1),
                         torch.stack([s * mirror, c, shift[:, 1]], -1)], 1)
    if size < 0.65 * full:
        # Several painted pixels to one: without this the window would shimmer.
        rgb = F.avg_pool2d(rgb, 3, 1, 1, count_include_pad=False)
    # The masks are learned at half the size; the card's is also looked at.
    grid = F.affine_grid(theta, (n, 1, size, size), align_corners=False)
    every = torch.cat([rgb, masks[:, 4:5], torch.ones_like(rgb[:, :1])], 1)
    every = F.grid_sample(every, grid, mode="bilinear", padding_mode="zeros",
                          align_corners=False)
    coarse = F.affine_grid(theta, (n, 1, size // 2, size // 2), align_corners=False)
    masks = F.grid_sample(F.avg_pool2d(masks, 2), coarse, mode="bilinear",
                          padding_mode="zeros", align_corners=False)
    # The photo may end inside the window, and cut the foot.
    ends = dice.uniform((n, 4), -0.25, 0.3).clamp(min=0) * size * dice.chance(n, 0.25)[:, None]
    # Or it, and a plate more often, is cut tight to the hoof.
    tight = (dice.chance(n, 0.5) & styled) | dice.chance(n, 0.05)
    hoof = (masks[:, 0] > 0.5).float()
    beside, above = hoof.amax(1), hoof.amax(2)
    box = torch.stack([beside.argmax(1), beside.flip(1).argmax(1), above.argmax(1),
                       above.flip(1).argmax(1)], 1) * 2.0
    box = box - dice.uniform((n, 4), -0.01, 0.08) * size
    # From the side some of the limb is left.
    box[:, 2] -= dice.uniform((n,), 0, 0.4) * size * facts[:, 2]
    ends = torch.where(tight[:, None], box.clamp(min=0), ends)
    axis = torch.arange(size, device=device) + 0.5
    here = ((axis > ends[:, 0:1]) & (axis < size - ends[:, 1:2]))[:, None, None, :] & \
           ((axis > ends[:, 2:3]) & (axis < size - ends[:, 3:4]))[:, None, :, None]
    every[:, 4:5] *= here
    # A point: inverse of the same map.
    a, b, c, d = theta[:, 0, 0], theta[:, 0, 1], theta[:, 1, 0], theta[:, 1, 1]
    inverse = torch.stack([d, -b, -c, a], -1).reshape(n, 2, 2) / (a * d - b * c)[:, None, None]
    at = points[..., :2] / full * 2 - 1
    there = points[..., 2] > 0
    hidden = F.grid_sample(cover, at[:, :, None, :], align_corners=False)[:, 0, :, 0] > 0.75
    # The pastern's points lie on the limb's edge, its hairline on the horn's.
    gone = F.max_pool2d(gone[..., ::2, ::2].float(), 5, 1, 2)
    gone = F.grid_sample(gone, at[:, 10:, None, :], align_corners=False)[:, 0, :, 0] > 0.3
    hidden[:, 10:] |= gone
    there = there & ~hidden
    out = torch.einsum("nij,nkj->nki", inverse, at - theta[:, None, :, 2])
    there = there & (out.abs().amax(-1) < 1)
    xy = (out + 1) * 0.5 * size
    index = constant(MIRRORED, device)
    flip = (mirror < 0)[:, None, None]
    xy = torch.where(flip, xy[:, index], xy)
    there = torch.where(flip[..., 0], there[:, index], there)
    there = there & (xy[..., 0] > ends[:, 0:1]) & (xy[..., 0] < size - ends[:, 1:2]) & \
        (xy[..., 1] > ends[:, 2:3]) & (xy[..., 1] < size - ends[:, 3:4])
    points = torch.cat([xy, there[..., None].float()], -1)
    mm = facts[:, 0] * scale * full / size
    return every[:, :3], masks, every[:, 3:4], every[:, 4:5], points, mm


def blur_kernels(dice, n, size=7):
    """Out of focus, moved, or neither: one kernel for each picture."""
    r = size // 2
    axis = torch.arange(-r, r + 1, device=dice.device).float()
    y, x = torch.meshgrid(axis, axis, indexing="ij")
    sigma = column(torch.where(dice.chance(n, 0.6), dice.uniform((n,), 0.35, 0.9),
                               dice.uniform((n,), 0.5, 1.8)))[:, 0]
    turn = column(dice.uniform((n,), 0, math.pi))[:, 0]
    longer = column(torch.where(dice.chance(n, 0.2), dice.uniform((n,), 1.5, 4.0),
                                torch.ones(n, device=dice.device)))[:, 0]
    u = (x * torch.cos(turn) + y * torch.sin(turn)) / longer
    v = y * torch.cos(turn) - x * torch.sin(turn)
    k = torch.exp(-0.5 * (u * u + v * v) / sigma ** 2)
    return k / k.sum((1, 2), keepdim=True)


DCT = tuple(tuple(math.sqrt((1 if i == 0 else 2) / 8) *
                  math.cos((2 * j + 1) * i * math.pi / 16) for j in range(8))
            for i in range(8))


def block_coded(dice, x):
    """Coarse 8 x 8 cosine blocks, as hard JPEG compression leaves them."""
    n, c, h, w = x.shape
    d = constant(DCT, x.device)
    shift = dice.uniform((2,), 0, 8).long()
    down = (torch.arange(h, device=x.device) + shift[0]) % h
    along = (torch.arange(w, device=x.device) + shift[1]) % w
    x = x[:, :, down][..., along]
    b = x.reshape(n, c, h // 8, 8, w // 8, 8)
    b = torch.einsum("ui,nchiwj,vj->nchuwv", d, b, d)
    f = torch.arange(8, device=x.device).float()
    table = 1 + 0.6 * (f.reshape(8, 1) + f.reshape(1, 8))
    strength = torch.where(dice.chance(n, 0.5), dice.uniform((n,), 0.002, 0.02),
                           dice.uniform((n,), 0.01, 0.05))
    step = strength.reshape(n, 1, 1, 1, 1, 1) * table.reshape(1, 1, 1, 8, 1, 8)
    b = torch.round(b / step) * step
    b = torch.einsum("ui,nchuwv,vj->nchiwj", d, b, d).reshape(n, c, h, w)
    down = (torch.arange(h, device=x.device) - shift[0]) % h
    along = (torch.arange(w, device=x.device) - shift[1]) % w
    return b[:, :, down][..., along]


def lit(dice, x):
    """Uneven light, exposure, contrast and colour."""
    n, _, h, w = x.shape
    uneven = dice.chance(n, 0.4)
    ramp = F.interpolate(dice.uniform((n, 1, 3, 3), 0.55, 1.4), size=(h, w), mode="bilinear",
                         align_corners=True)
    x = torch.where(column(uneven), x * ramp, x)
    x = x.clamp(1e-4, 1) ** column(torch.exp(dice.normal((n,)) * 0.22))
    mean = x.mean((1, 2, 3), keepdim=True)
    x = mean + (x - mean) * column(torch.exp(dice.normal((n,)) * 0.25))
    x = x * column(torch.exp(dice.normal((n,)) * 0.15))
    x = x * (1 + 0.09 * dice.normal((n, 3, 1, 1)))
    grey = x.mean(1, keepdim=True)
    colour = torch.where(dice.chance(n, 0.15), torch.zeros(n, device=x.device),
                         dice.uniform((n,), 0.3, 1.35))
    x = grey + (x - grey) * column(colour)
    x = torch.where(column(dice.chance(n, OLD_PHOTOGRAPHS)), as_of_old(dice, x), x)
    sepia = column(dice.chance(n, 0.04)).float()
    return x * (1 + sepia * constant((0.12, 0.0, -0.18), x.device).reshape(1, 3, 1, 1))


def blurred(dice, x):
    """Out of focus or moved, or a small picture, enlarged."""
    n, _, h, w = x.shape
    kernels = blur_kernels(dice, n)
    flat = x.reshape(1, n * 3, h, w)
    x = F.conv2d(flat, kernels.repeat_interleave(3, 0)[:, None], padding=3,
                 groups=3 * n).reshape(n, 3, h, w)
    small = dice.some(n, 0.12)
    if len(small):
        part = F.interpolate(x[small], scale_factor=0.5, mode="area")
        x[small] = F.interpolate(part, size=(h, w), mode="bicubic", align_corners=False)
    return x


def noisy(dice, x):
    """Noise, a telephone's sharpening, compression."""
    n = x.shape[0]
    strength = column(torch.where(dice.chance(n, 0.6), dice.uniform((n,), 0, 0.015),
                                  dice.uniform((n,), 0, 0.05)))
    noise = dice.normal(x.shape)
    soft = F.avg_pool2d(noise, 3, 1, 1) * 2.2
    noise = torch.where(column(dice.chance(n, 0.5)), noise, soft)
    x = x + noise * strength * (0.4 + x.clamp(0, 1))
    sharper = column(torch.where(dice.chance(n, 0.35), dice.uniform((n,), 0.3, 2.0),
                                 torch.zeros(n, device=x.device)))
    x = x + sharper * (x - F.avg_pool2d(x, 3, 1, 1))
    coded = dice.some(n, 0.4)
    if len(coded):
        x[coded] = block_coded(dice, x[coded].clamp(0, 1))
    return x


def photographed(dice, x):
    """As a camera would have it."""
    for name, step in (("light", lit), ("blur", blurred), ("noise", noisy)):
        if name not in LEFT_OUT:
            x = step(dice, x)
    return x.clamp(0, 1)


def network_input(picture, card, known, view, card_shown):
    """@return n x 5 x size x size, see network.py."""
    n, _, h, w = picture.shape
    known = (known > 0.99).float()
    picture = picture * known + 0.5 * (1 - known)
    card = (card > 0.5).float() * known * column(card_shown)
    plane = column(view.float()).expand(n, 1, h, w)
    return torch.cat([picture, card, plane], 1)
