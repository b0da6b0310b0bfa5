# SPDX-License-Identifier: Apache-2.0
"""What each part of the training brings: short trainings that each lack one thing,
or have it otherwise, all of one seed and one number of steps, all checked on the same
held-out scenes that lack nothing.

  python3 ablate.py --out DIR --seconds 560

All run at once, spread over the GPUs; DIR/table.md and DIR/results.json are what is
left of them. One run differs from the next by chance: `all` is made twice, and what
these two differ by is what a difference has to exceed.
"""
import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time

import torch

import lessons
import train

SMALLER = (16, 24, 40, 64, 96, 128)
LARGER = (32, 48, 80, 112, 144, 176)
ROWS = ("toe", "heel_left", "heel_right", "frog_apex", "frog_left", "frog_right",
        "toe_ground", "toe_hairline", "heel_ground", "heel_hairline", "pastern_upper",
        "pastern_lower", "toe angle", "heel angle")
OVERLAPS = ("solar hoof overlap", "lateral hoof overlap")


def variants():
    """@return what is told to train.py, by name."""
    out = {"all": [], "all, another seed": ["--seed", "6"]}
    for part in train.PARTS:
        out[f"without {part}"] = ["--without", part]
    for weight in ("0.2", "0"):
        out[f"what is no foot weighs {weight} in points"] = ["--elsewhere", weight]
    for name, widths in (("smaller", SMALLER), ("larger", LARGER)):
        out[name] = ["--widths", *map(str, widths)]
    return out


def table(results):
    """Medians [mm, degrees], and of the overlap the 5th percentile too."""
    names = [n for n in ROWS + OVERLAPS if any(n in r["256"] for r in results.values())]
    lines = ["| | steps | " + " | ".join(names) + " | feet seen | no foot taken for one |",
             "|" + " --- |" * (len(names) + 4)]
    for run, result in results.items():
        at = result["256"]
        cells = []
        for name in names:
            value = at.get(name)
            cells.append("-" if value is None else f"{value[0]:.3f}, {value[1]:.3f}"
                         if name in OVERLAPS else f"{value[0]:.2f}")
        taken = {k: v for k, v in at.items() if k.startswith("taken for a foot: ")}
        feet = taken.pop("taken for a foot: foot", [float("nan"), 0])
        wrong = sum(share * n for share, n in taken.values())
        count = max(1, sum(n for _, n in taken.values()))
        lines.append(f"| {run} | {result['step']} | " + " | ".join(cells) +
                     f" | {feet[0]:.3f} | {wrong / count:.3f} |")
    return "\n".join(lines) + "\n"


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", required=True)
    parser.add_argument("--seconds", type=float, default=560, help="for all of it")
    parser.add_argument("--steps", type=int, default=2500, help="of each training")
    parser.add_argument("--check", type=int, default=2048, help="held-out scenes")
    parser.add_argument("--painted", type=int, default=lessons.PAINTED)
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--pool", type=int, default=18)
    parser.add_argument("--photographs", help="what photographs.py wrote")
    parser.add_argument("--only", nargs="*", help="of the variants, by name")
    options = parser.parse_args()
    begun = time.time()
    os.makedirs(options.out, exist_ok=True)
    folder = tempfile.mkdtemp()
    train.painter.library(torch.cuda.is_available())
    gpus = max(1, torch.cuda.device_count())
    # CHOSEN: a tenth of the time is for the check at the end.
    limit = 0.9 * options.seconds - (time.time() - begun)
    running = {}
    try:
        for k, (name, more) in enumerate(variants().items()):
            if options.only and name not in options.only:
                continue
            out = os.path.join(folder, str(k))
            os.makedirs(out)
            command = [sys.executable, os.path.join(lessons.HERE, "train.py"), "--out", out,
                       "--gpus", "1", "--gpu", str(k % gpus), "--only", "256", "--seed", "5",
                       "--steps", str(options.steps), "--seconds", str(limit),
                       "--pool", str(options.pool), "--batch", str(options.batch),
                       "--painted", str(options.painted), "--check", str(options.check), *more]
            if options.photographs:
                command += ["--photographs", options.photographs]
            with open(os.path.join(out, "printed.txt"), "w", encoding="utf-8") as file:
                running[name] = out, subprocess.Popen(command, stdout=file,
                                                      stderr=subprocess.STDOUT)
        results = {}
        for name, (out, process) in running.items():
            try:
                process.wait(max(1.0, options.seconds - (time.time() - begun)))
            except subprocess.TimeoutExpired:
                process.kill()
            path = os.path.join(out, "results.json")
            if os.path.exists(path):
                with open(path, encoding="utf-8") as file:
                    results[name] = json.load(file)
            else:
                with open(os.path.join(out, "printed.txt"), encoding="utf-8") as file:
                    print(f"{name}: no result; it said\n{file.read()[-1500:]}")
        if results:
            text = table(results)
            print(text + f"{time.time() - begun:.0f} s")
            with open(os.path.join(options.out, "table.md"), "w", encoding="utf-8") as file:
                file.write(text)
        with open(os.path.join(options.out, "results.json"), "w", encoding="utf-8") as file:
            json.dump(results, file, indent=1)
    finally:
        for _, process in running.values():
            process.kill()
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
