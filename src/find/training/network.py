# SPDX-License-Identifier: Apache-2.0
"""The network: a small U-Net for both views, and how its maps are read.

Input, n x 5 x h x w (h and w multiples of 32): red, green, blue and the card's
mask [0..1], and the view (0 solar, 1 lateral) everywhere. What the photo does
not show is mid-grey.

Output `maps`, n x 18 x h/2 x w/2, logits: a map for each of the 12 points in the
order of geometry::PointId, then the masks hoof, frog, shoe, limb, card, wall.
A point's map, with one more cell of logit 0 for "not seen", is a softmax: the
likelihood of each place. Output `foot`, n x 1: the logit of "this view of a
foot is in the picture".
"""
import math

import torch
from torch import nn
from torch.nn import functional as F

POINTS = 12
MASKS = 6
SOLAR = slice(0, 6)
LATERAL = slice(6, 12)
STRIDE = 2
WIDTHS = (24, 32, 64, 96, 128, 160)


def conv(inside, outside, size=3, stride=1):
    return nn.Sequential(
        nn.Conv2d(inside, outside, size, stride, size // 2, bias=False),
        nn.BatchNorm2d(outside), nn.ReLU(inplace=True))


class Block(nn.Module):
    def __init__(self, width):
        super().__init__()
        self.one = conv(width, width)
        self.two = nn.Sequential(nn.Conv2d(width, width, 3, 1, 1, bias=False),
                                 nn.BatchNorm2d(width))

    def forward(self, x):
        return F.relu(x + self.two(self.one(x)))


class Wide(nn.Module):
    """Looks far around at little cost: a deep but narrow convolution."""

    def __init__(self, width):
        super().__init__()
        self.around = nn.Sequential(
            nn.Conv2d(width, width, 5, 1, 2, groups=width, bias=False),
            nn.BatchNorm2d(width))
        self.one = conv(width, 2 * width, 1)
        self.two = nn.Sequential(nn.Conv2d(2 * width, width, 1, bias=False),
                                 nn.BatchNorm2d(width))

    def forward(self, x):
        return F.relu(x + self.two(self.one(self.around(x))))


class Join(nn.Module):
    """Brings a coarse map to a finer one."""

    def __init__(self, coarse, fine, count):
        super().__init__()
        self.narrow = nn.Sequential(nn.Conv2d(coarse, fine, 1, bias=False),
                                    nn.BatchNorm2d(fine))
        self.mix = nn.Sequential(*[conv(fine, fine) for _ in range(count)])

    def forward(self, coarse, fine):
        up = F.interpolate(self.narrow(coarse), scale_factor=2.0, mode="nearest")
        return self.mix(F.relu(up + fine))


class Foot(nn.Module):
    """Is this view of a foot there? By what there is on the whole, and by what is
    seen most clearly anywhere, at the two coarsest levels."""

    def __init__(self, widths, hidden=48):
        super().__init__()
        self.hidden = nn.Conv2d(2 * sum(widths), hidden, 1)
        self.out = nn.Conv2d(hidden, 1, 1)
        # It starts undecided.
        nn.init.normal_(self.out.weight, std=0.01)
        nn.init.zeros_(self.out.bias)

    def pooled(self, *levels):
        levels = [x if x.dtype == torch.float32 else x.float() for x in levels]
        return torch.cat([pool(x, 1) for x in levels
                          for pool in (F.adaptive_avg_pool2d, F.adaptive_max_pool2d)], 1)

    def forward(self, *levels):
        return self.out(F.relu(self.hidden(self.pooled(*levels)))).flatten(1)


class Finder(nn.Module):
    def __init__(self, widths=WIDTHS):
        super().__init__()
        a, b, c, d, e, f = widths
        self.stem = nn.Sequential(conv(5, a, 3, 2), conv(a, b))
        self.down1 = nn.Sequential(conv(b, c, 3, 2), Block(c))
        self.down2 = nn.Sequential(conv(c, d, 3, 2), Block(d))
        self.down3 = nn.Sequential(conv(d, e, 3, 2), Block(e), Wide(e), Wide(e))
        self.down4 = nn.Sequential(conv(e, f, 3, 2), Wide(f), Wide(f), Wide(f))
        self.up4 = Join(f, e, 1)
        self.up3 = Join(e, d, 2)
        self.up2 = Join(d, c, 2)
        self.up1 = Join(c, b, 2)
        self.head = nn.Conv2d(b, POINTS + MASKS, 1)
        self.foot = Foot((e, f))
        nn.init.normal_(self.head.weight, std=0.01)
        # The chance of a place starts small, so that "not seen" is likely.
        nn.init.constant_(self.head.bias, -8.0)
        nn.init.constant_(self.head.bias[POINTS:], -2.0)

    def forward(self, x):
        f1 = self.stem(x)
        f2 = self.down1(f1)
        f3 = self.down2(f2)
        f4 = self.down3(f3)
        f5 = self.down4(f4)
        foot = self.foot(f4, f5)
        y = self.up1(self.up2(self.up3(self.up4(f5, f4), f3), f2), f1)
        return self.head(y), foot


NEAR = 5.0  # [mm]: what a point's likelihood means.
AROUND = 10.0  # [mm]: how far its places count for its covariance.
CELLS = (0.7, 12.0)  # The least and the greatest radius of the nearer disc [cells].


def disc(distance, radius):
    """How much of a cell lies within the radius."""
    return (radius - distance + 0.5).clamp(0, 1)


def read_points(maps, mm):
    """Where each point is, from its softmax: the middle of the disc of 5 mm that
    holds most of it. The same as ReadPoint in network_finder.cpp.

    @param maps n x k x h x w logits.
    @param mm per px of the input, n.
    @return n x k x 6: x, y [px of the input], likelihood that it is seen and in
      that disc, and the second moments xx, xy, yy of its places within 10 mm
      [px^2].
    """
    n, k, h, w = maps.shape
    flat = maps.float().reshape(n, k, h * w)
    top = flat.amax(-1, keepdim=True).clamp(min=0)
    weight = torch.exp(flat - top)
    weight = weight / (weight.sum(-1, keepdim=True) + torch.exp(-top))
    radius = (NEAR / (STRIDE * mm)).clamp(*CELLS)
    reach = int(math.ceil(float(radius.max()) + 0.5))
    steps = torch.arange(-reach, reach + 1, device=maps.device)
    dy, dx = torch.meshgrid(steps, steps, indexing="ij")
    kernel = disc(torch.sqrt(dx * dx + dy * dy + 0.0), radius[:, None, None])
    inside = F.conv2d(weight.reshape(n, k, h, w).transpose(0, 1), kernel[:, None],
                      padding=reach, groups=n).transpose(0, 1).reshape(n, k, h * w)
    index = inside.argmax(-1)
    x, y = index % w + 0.5, torch.div(index, w, rounding_mode="floor") + 0.5
    wide = radius * (AROUND / NEAR)
    reach = int(math.ceil(float(wide.max()) + 2.5))
    steps = torch.arange(-reach, reach + 1, device=maps.device)
    dy, dx = torch.meshgrid(steps, steps, indexing="ij")
    gx = x[..., None].floor() + dx.reshape(-1)
    gy = y[..., None].floor() + dy.reshape(-1)
    within = (gx >= 0) & (gx < w) & (gy >= 0) & (gy < h)
    where = (gx.clamp(0, w - 1) + w * gy.clamp(0, h - 1)).long()
    near = weight.gather(-1, where) * within
    fx, fy = gx + 0.5, gy + 0.5

    def share(r):
        return near * disc(torch.sqrt((fx - x[..., None]) ** 2 + (fy - y[..., None]) ** 2),
                           r[:, None, None])
    for _ in range(3):
        part = share(radius)
        mass = part.sum(-1).clamp(min=1e-30)
        x, y = (part * fx).sum(-1) / mass, (part * fy).sum(-1) / mass
    likelihood = share(radius).sum(-1)
    part = share(wide)
    mass = part.sum(-1).clamp(min=1e-30)
    ex, ey = fx - x[..., None], fy - y[..., None]
    moments = [(part * a * b).sum(-1) / mass * STRIDE * STRIDE
               for a, b in ((ex, ex), (ex, ey), (ey, ey))]
    return torch.stack([x * STRIDE, y * STRIDE, likelihood, *moments], -1)
