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
import torch
from torch import nn
from torch.nn import functional as F

POINTS = 12
MASKS = 6
SOLAR = slice(0, 6)
LATERAL = slice(6, 12)
STRIDE = 2


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


class Finder(nn.Module):
    def __init__(self, widths=(24, 32, 64, 96, 128, 160)):
        super().__init__()
        a, b, c, d, e, f = widths
        self.stem = nn.Sequential(conv(5, a, 3, 2), conv(a, b))
        self.down1 = nn.Sequential(conv(b, c, 3, 2), Block(c))
        self.down2 = nn.Sequential(conv(c, d, 3, 2), Block(d))
        self.down3 = nn.Sequential(conv(d, e, 3, 2), Block(e))
        self.down4 = nn.Sequential(conv(e, f, 3, 2), Block(f))
        self.up4 = Join(f, e, 1)
        self.up3 = Join(e, d, 2)
        self.up2 = Join(d, c, 2)
        self.up1 = Join(c, b, 2)
        self.head = nn.Conv2d(b, POINTS + MASKS, 1)
        self.foot = nn.Conv2d(f, 1, 1)
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
        foot = self.foot(F.adaptive_avg_pool2d(f5, 1)).flatten(1)
        y = self.up1(self.up2(self.up3(self.up4(f5, f4), f3), f2), f1)
        return self.head(y), foot


def read_points(maps, reach=6):
    """Where each point is, from its softmax.

    @param maps n x k x h x w logits.
    @param reach half the side of the square around the highest cell [cells].
    @return n x k x 7: x, y [px of the input], seen [0..1], mass near the
      highest cell [0..1 of all seen], and the covariance xx, xy, yy [px^2].
    """
    n, k, h, w = maps.shape
    flat = maps.float().reshape(n, k, h * w)
    top, index = flat.max(-1)
    top = top.clamp(min=0)
    weight = torch.exp(flat - top[..., None])
    total = weight.sum(-1)
    seen = total / (total + torch.exp(-top))
    cx, cy = index % w, torch.div(index, w, rounding_mode="floor")
    steps = torch.arange(-reach, reach + 1, device=maps.device)
    dy, dx = torch.meshgrid(steps, steps, indexing="ij")
    dx, dy = dx.reshape(-1), dy.reshape(-1)
    gx, gy = cx[..., None] + dx, cy[..., None] + dy
    inside = (gx >= 0) & (gx < w) & (gy >= 0) & (gy < h)
    near = weight.gather(-1, gx.clamp(0, w - 1) + w * gy.clamp(0, h - 1)) * inside
    mass = near.sum(-1)
    fx, fy = gx + 0.5, gy + 0.5
    x = (near * fx).sum(-1) / mass
    y = (near * fy).sum(-1) / mass
    ex, ey = fx - x[..., None], fy - y[..., None]
    xx = (near * ex * ex).sum(-1) / mass
    xy = (near * ex * ey).sum(-1) / mass
    yy = (near * ey * ey).sum(-1) / mass
    s = STRIDE
    return torch.stack([x * s, y * s, seen, mass / total, xx * s * s, xy * s * s,
                        yy * s * s], -1)
