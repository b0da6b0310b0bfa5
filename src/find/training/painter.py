# SPDX-License-Identifier: Apache-2.0
"""Painted scenes as torch tensors: the door to painter.cu.

On a machine with a GPU the painter is compiled with nvcc and paints there;
elsewhere it is compiled as plain C++, which is slow but shows the same picture.
"""
import ctypes
import hashlib
import os
import subprocess
import tempfile

import numpy as np
import torch

HERE = os.path.dirname(os.path.abspath(__file__))
SOURCES = ("scene.h", "paint.h", "draw_lots.h", "painter.cu")
CHANNELS = 9
POINTS = 12
LABELS = 3 * POINTS + 5
KINDS = ("foot", "no foot", "shoe alone", "paw", "leg only", "no horn", "cloven",
         "front or behind", "look-alike")
PART_HORN, PART_SOLE, PART_FROG, PART_SHOE, PART_SKIN = 1, 2, 3, 4, 5
PART_THING, PART_GROUND, PART_CARD = 6, 7, 8
MARKS = ("hoof", "frog", "shoe", "limb", "card", "wall")
CLOSE, NO_THINGS, NO_CARD, ONE_LIGHT, ONLY_FEET = 2, 4, 8, 16, 32  # Bits of draw_lots.h's `Wish`.


def library(gpu):
    """Compiles the painter once for every state of its sources."""
    digest = hashlib.sha256()
    for name in SOURCES:
        with open(os.path.join(HERE, name), "rb") as file:
            digest.update(file.read())
    digest.update(os.environ.get("PAINTER_FLAGS", "").encode())
    folder = os.path.join(tempfile.gettempdir(), "plumbfoot_painter")
    os.makedirs(folder, exist_ok=True)
    kind = "gpu" if gpu else "cpu"
    path = os.path.join(folder, f"{kind}_{digest.hexdigest()[:16]}.so")
    if not os.path.exists(path):
        source = os.path.join(HERE, "painter.cu")
        half = f"{path}.{os.getpid()}"
        if gpu:
            major, minor = torch.cuda.get_device_capability()
            command = ["nvcc", "-O3", "--use_fast_math", f"-arch=sm_{major}{minor}",
                       "-shared", "-Xcompiler", "-fPIC,-O3", "-o", half, source,
                       *os.environ.get("PAINTER_FLAGS", "").split()]
            if not any(os.access(os.path.join(d, "nvcc"), os.X_OK)
                       for d in os.environ.get("PATH", "").split(":")):
                command[0] = "/usr/local/cuda/bin/nvcc"
        else:
            # As -ffast-math, which would also flush small numbers to zero in the
            # whole process.
            command = ["g++", "-x", "c++", "-std=c++17", "-O3", "-march=native",
                       "-fno-math-errno", "-fno-trapping-math", "-fno-signed-zeros",
                       "-fassociative-math", "-freciprocal-math", "-ffinite-math-only",
                       "-fopenmp", "-shared", "-fPIC", "-o", half, source]
        subprocess.run(command, check=True)
        os.replace(half, path)
    return ctypes.CDLL(path)


class Painter:
    """Paints scenes; the same seeds give the same pictures."""

    def __init__(self, device):
        self.device = torch.device(device)
        self.gpu = self.device.type == "cuda"
        self.library = library(self.gpu)
        self.scene_bytes = self.library.scene_bytes()
        assert self.library.label_floats() == LABELS

    def draw(self, seeds, views, size):
        """@return the scenes as bytes and their labels, in host memory."""
        count = len(seeds)
        seeds = np.ascontiguousarray(seeds, dtype=np.uint64)
        views = np.ascontiguousarray(views, dtype=np.int32)
        scenes = torch.empty(count * self.scene_bytes, dtype=torch.uint8,
                             pin_memory=self.gpu)
        labels = torch.empty(count, LABELS, dtype=torch.float32, pin_memory=self.gpu)
        pointer = ctypes.c_void_p
        self.library.draw_scenes(pointer(seeds.ctypes.data), pointer(views.ctypes.data),
                                 ctypes.c_int(count), ctypes.c_int(size),
                                 pointer(scenes.data_ptr()), pointer(labels.data_ptr()))
        return scenes, labels

    def paint(self, seeds, views, size):
        """Paints one scene for each seed; view 0 is solar, 1 lateral, and more
        with the bits of `Wish`.

        @return pictures: uint8, n x 9 x size x size (red, green, blue, part,
          marks, shade, normal); points: n x 12 x 3 (x, y [px], there);
          facts: n x 5 (mm per px, foot, view, width [mm], which of KINDS).
        """
        scenes, labels = self.draw(seeds, views, size)
        scenes = scenes.to(self.device, non_blocking=True)
        labels = labels.to(self.device, non_blocking=True)
        pictures = torch.empty(len(seeds), CHANNELS, size, size, dtype=torch.uint8,
                               device=self.device)
        stream = torch.cuda.current_stream().cuda_stream if self.gpu else 0
        error = self.library.paint_scenes(
            ctypes.c_void_p(scenes.data_ptr()), ctypes.c_int(len(seeds)),
            ctypes.c_int(size), ctypes.c_void_p(pictures.data_ptr()),
            ctypes.c_void_p(stream))
        if error:
            raise RuntimeError(f"painter: CUDA error {error}")
        return pictures, labels[:, :36].reshape(-1, POINTS, 3), labels[:, 36:]
