# SPDX-License-Identifier: Apache-2.0
"""Trains the finder's network on scenes painted as it goes.

  python3 train.py --out DIR            # continues from DIR/checkpoint.pt
"""
import argparse
import math
import os
import time

import torch

import lessons
import network
import pictures


def brief(state):
    """The optimiser's moments in 16 bits: a checkpoint of half the size."""
    moments = {key: {name: v.bfloat16() if name != "step" else v
                     for name, v in entry.items()}
               for key, entry in state["state"].items()}
    return {"state": moments, "param_groups": state["param_groups"]}


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", required=True, help="folder of checkpoint.pt and log.txt")
    parser.add_argument("--resume", help="a checkpoint elsewhere to continue from")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--budget", type=float, default=1100,
                        help="seconds of the whole training: the rate falls with them")
    parser.add_argument("--seconds", type=float, default=1e9,
                        help="stop and write a checkpoint after so long")
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--looks", type=float, default=6, help="windows cut from each scene")
    parser.add_argument("--pool", type=int, default=24, help="painted batches that are kept")
    parser.add_argument("--check", type=int, default=1024, help="held-out scenes at the end")
    options = parser.parse_args()
    begun = time.time()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(options.seed)
    torch.backends.cudnn.benchmark = True
    torch.set_float32_matmul_precision("high")
    os.makedirs(options.out, exist_ok=True)
    log = open(os.path.join(options.out, "log.txt"), "a", encoding="utf-8")

    def say(text):
        print(text, flush=True)
        log.write(text + "\n")
        log.flush()

    model = network.Finder().to(device).to(memory_format=torch.channels_last)
    mean = network.Finder().to(device)
    decayed = [p for p in model.parameters() if p.ndim > 1]
    plain = [p for p in model.parameters() if p.ndim <= 1]
    optimiser = torch.optim.AdamW([{"params": decayed, "weight_decay": 0.02},
                                   {"params": plain, "weight_decay": 0.0}],
                                  lr=options.rate, **({"fused": True} if device == "cuda" else {}))
    step, spent, painted = 0, 0.0, 0
    path = os.path.join(options.out, "checkpoint.pt")
    source = path if os.path.exists(path) else options.resume
    if source and os.path.exists(source):
        saved = torch.load(source, map_location=device)
        model.load_state_dict(saved["model"])
        mean.load_state_dict(saved["mean"])
        moments = os.path.join(os.path.dirname(source), "optimiser.pt")
        optimiser.load_state_dict(torch.load(moments, map_location=device))
        step, spent, painted = saved["step"], saved["spent"], saved["painted"]
        say(f"continue from step {step}")
    else:
        mean.load_state_dict(model.state_dict())
    count = sum(p.numel() for p in model.parameters())
    say(f"{count} parameters, {device}")
    dice = pictures.Dice(device, options.seed * 1000003 + step)
    pool = lessons.Pool(device, options.seed, options.batch, options.pool,
                        start=painted)
    if device == "cuda":
        torch.cuda.synchronize()
        say(f"painted {options.pool} batches after {time.time() - begun:.1f} s")
    model.train()
    owed = 0.0
    part = 0.0
    sums, since, told = torch.zeros(5, device=device), time.time(), step
    while part < 1 and time.time() - begun < options.seconds:
        part = (spent + time.time() - begun) / options.budget
        owed += 1 / options.looks
        if owed >= 1:
            owed -= 1
            pool.refresh()
        # One step in four at the size of the first, wide look.
        size = 256 if step % 4 == 3 else 384
        warm = min(1.0, (step + 1) / 400)
        rate = options.rate * warm * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(part, 1.0))))
        for group in optimiser.param_groups:
            group["lr"] = rate
        with torch.no_grad():
            x, points, masks, foot, view, _ = lessons.lesson(dice, pool.draw(options.batch), size)
            x = x.contiguous(memory_format=torch.channels_last)
        with torch.autocast(device, torch.bfloat16):
            maps, score = model(x)
        loss, parts = lessons.loss_of(maps, score, points, masks, foot, view)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 4.0)
        optimiser.step()
        with torch.no_grad():
            keep = min(0.998, (step + 1) / (step + 10))
            ours = [v for v in mean.state_dict().values() if v.is_floating_point()]
            theirs = [v for v in model.state_dict().values() if v.is_floating_point()]
            torch._foreach_mul_(ours, keep)
            torch._foreach_add_(ours, theirs, alpha=1 - keep)
            sums += torch.stack([loss.detach(), *parts])
        step += 1
        if step - told == 250:
            values = (sums / 250).tolist()
            say(f"step {step} loss {values[0]:.3f} points {values[1]:.3f} masks {values[2]:.4f} "
                f"dice {values[3]:.4f} foot {values[4]:.4f} rate {rate:.2e} "
                f"{250 / (time.time() - since):.1f} steps/s at {time.time() - begun:.0f} s")
            sums.zero_()
            since, told = time.time(), step
    torch.save(brief(optimiser.state_dict()), os.path.join(options.out, "optimiser.pt"))
    saved = {"model": model.state_dict(), "mean": mean.state_dict(), "step": step,
             "spent": spent + time.time() - begun,
             "painted": pool.next_seed - (options.seed << 40)}
    torch.save(saved, path)
    say(f"step {step} written after {time.time() - begun:.0f} s")
    if options.check:
        for size in (384, 256):
            say(f"held-out scenes, size {size}")
            say(lessons.table(lessons.held_out(mean, device, options.seed, options.check, size)))
    say(f"done after {time.time() - begun:.0f} s")


if __name__ == "__main__":
    main()
