# SPDX-License-Identifier: Apache-2.0
"""Gathers squares of photographs and photographed textures for the training.

  apt-get download PACKAGE...; dpkg-deb -x EACH.deb DIR/PACKAGE
  python3 photographs.py DIR --to photographs.zip [--sheet S.png]

DIR has a folder for each package (README.md names those that were used). Pictures
lie there as they are or in archives. What is drawn, flat, see-through or small is
left out, and no package brings more than its share. The result is a zip of JPEGs
and is never committed.
"""
import argparse
import os
import zipfile

import cv2
import numpy as np

# CHOSEN: enough for a ground to be seldom met twice, small enough to carry along.
SIDE = 384
EACH = 110
KINDS = (".jpg", ".jpeg", ".png", ".webp", ".tga", ".bmp")
ARCHIVES = (".zip", ".pk3", ".wz")


def files(folder):
    """@return names and readers of all pictures below a folder, in a fixed order."""
    for root, folders, names in os.walk(folder):
        folders.sort()
        for name in sorted(names):
            path = os.path.join(root, name)
            low = name.lower()
            if os.path.islink(path):
                continue
            if low.endswith(KINDS):
                yield path, lambda path=path: open(path, "rb").read()
            elif low.endswith(ARCHIVES):
                archive = zipfile.ZipFile(path)
                for inner in sorted(archive.namelist()):
                    if inner.lower().endswith(KINDS):
                        yield f"{path}/{inner}", lambda a=archive, i=inner: a.read(i)


def photographic(square):
    """Whether a square has the grain and the shades that a camera gives it."""
    grey = cv2.cvtColor(square, cv2.COLOR_BGR2GRAY).astype(np.float32)
    if grey.std() < 9 or not 18 < grey.mean() < 238:
        return False
    # Drawn things have few shades, and large parts without any grain.
    shades = (np.bincount(grey.astype(np.uint8).ravel(), minlength=256) > 20).sum()
    local = cv2.blur(grey * grey, (9, 9)) - cv2.blur(grey, (9, 9)) ** 2
    return shades > 90 and (local < 0.7).mean() < 0.12


def squares(data, rng):
    """@return squares of one picture: one of a texture, three of a wide photograph."""
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if picture is None or picture.ndim != 3 or picture.dtype != np.uint8 or \
            min(picture.shape[:2]) < 250:
        return
    if picture.shape[2] == 4:
        if (picture[..., 3] < 250).mean() > 0.02:
            return
        picture = picture[..., :3]
    shorter = min(picture.shape[:2])
    for _ in range(3 if shorter > 1000 else 1):
        part = int(shorter * rng.uniform(0.35, 1.0)) if shorter > 600 else shorter
        y = rng.integers(picture.shape[0] - part + 1)
        x = rng.integers(picture.shape[1] - part + 1)
        square = cv2.resize(picture[y:y + part, x:x + part], (SIDE, SIDE),
                            interpolation=cv2.INTER_AREA)
        if photographic(square):
            yield square


def gather(folder, rng):
    """@return at most EACH squares of a package."""
    found = []
    every = list(files(folder))
    for k in rng.permutation(len(every)):
        name, read = every[k]
        # What is no colour: slopes and heights of game surfaces.
        if any(word in name.lower() for word in ("normal", "_nm", "_norm", "bump",
                                                 "gloss", "_local", "/gui", "icon",
                                                 "font", "levelshots", "screens")):
            continue
        for square in squares(read(), rng):
            found.append((name, square))
        if len(found) >= EACH:
            break
    return found[:EACH]


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder")
    parser.add_argument("--to", required=True)
    parser.add_argument("--sheet", help="a picture of them all, to be looked at")
    options = parser.parse_args()
    rng = np.random.default_rng(1)
    every = []
    for package in sorted(os.listdir(options.folder)):
        some = gather(os.path.join(options.folder, package), rng)
        print(f"{package}: {len(some)}")
        every += some
    half = options.to + ".half"
    with zipfile.ZipFile(half, "w") as out:
        for k, (_, square) in enumerate(every):
            out.writestr(f"{k:05d}.jpg", cv2.imencode(
                ".jpg", square, [cv2.IMWRITE_JPEG_QUALITY, 85])[1].tobytes())
    os.replace(half, options.to)
    print(f"{len(every)} squares, {os.path.getsize(options.to) / 1e6:.1f} MB")
    if options.sheet:
        across = 40
        small = [cv2.resize(s, (72, 72), interpolation=cv2.INTER_AREA) for _, s in every]
        small += [np.zeros((72, 72, 3), np.uint8)] * (-len(small) % across)
        rows = [np.hstack(small[k:k + across]) for k in range(0, len(small), across)]
        cv2.imwrite(options.sheet, np.vstack(rows))


if __name__ == "__main__":
    main()
