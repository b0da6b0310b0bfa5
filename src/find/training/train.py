# SPDX-License-Identifier: Apache-2.0
"""Trains the finder's network on scenes painted as it goes, on every GPU there is.

  python3 train.py --out DIR            # continues from DIR/checkpoint.pt
  python3 train.py --out DIR --resume ../network/finder.onnx

DIR/checkpoint.pt holds the mean of the weights, which is the network to use (7 MB);
DIR/going.pt what is needed to go on exactly (15 MB). Both are written every two
minutes and at the end.
"""
import argparse
import json
import math
import os
import time

import torch
import torch.distributed

import export
import lessons
import network
import painter
import pictures


def brief(state):
    """The optimiser's moments in 16 bits: a checkpoint of half the size."""
    moments = {key: {name: v.bfloat16() if name != "step" else v
                     for name, v in entry.items()}
               for key, entry in state["state"].items()}
    return {"state": moments, "param_groups": state["param_groups"]}


class Step:
    """The loss and its gradient on a batch of scenes, at one size. On a GPU all of
    it, light and blur too, is one graph: one by one the thousand kernels take the
    host three times as long as the GPU."""

    def __init__(self, model, dice, size, scenes, options):
        self.model, self.dice, self.size = model, dice, size
        self.options = options
        self.weights = list(model.parameters())
        self.graph = None
        self.scenes = [part.clone() for part in scenes]
        if scenes[0].device.type == "cpu":
            return
        aside = torch.cuda.Stream()
        aside.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(aside):
            for _ in range(3):
                self.once()
        torch.cuda.current_stream().wait_stream(aside)
        graph = torch.cuda.CUDAGraph()
        graph.register_generator_state(dice.source)
        with torch.cuda.graph(graph):
            self.once()
        self.graph = graph

    def once(self):
        x, points, masks, foot, view, _ = lessons.lesson(self.dice, self.scenes, self.size)
        x = x.contiguous(memory_format=torch.channels_last)
        with torch.autocast(x.device.type, torch.bfloat16, cache_enabled=False):
            maps, score = self.model(x)
        loss, parts = lessons.loss_of(maps, score, points, masks, foot, view,
                                      self.options.foot_weight, self.options.elsewhere)
        slopes = torch.autograd.grad(loss, self.weights)
        self.slope = torch.cat([s.reshape(-1) for s in slopes])
        self.parts = torch.stack([loss.detach(), *parts])

    def run(self, scenes):
        """@return the gradient of all weights in a row, the loss and its parts."""
        for to, part in zip(self.scenes, scenes):
            to.copy_(part)
        if self.graph:
            self.graph.replay()
        else:
            self.once()
        return self.slope, self.parts


STYLES = pictures.PLATES, pictures.CUT_OUTS
PARTS = ("light", "blur", "noise", "plates", "things", "card", "photographs",
         "what is no foot")


def leave_out(what):
    """Lets the scenes lack some of PARTS. @return the painter's wish."""
    pictures.PLATES, pictures.CUT_OUTS = (0, 0) if "plates" in what else STYLES
    pictures.LEFT_OUT = frozenset(what)
    return (painter.NO_THINGS if "things" in what else 0) + \
        (painter.NO_CARD if "card" in what else 0) + \
        (painter.ONE_LIGHT if "light" in what else 0) + \
        (painter.ONLY_FEET if "what is no foot" in what else 0)


def whole(path, write):
    """Writes a file whole or not at all."""
    write(path + ".half")
    os.replace(path + ".half", path)


def begin(model, optimiser, path, scenes, say):
    """Takes weights over from a checkpoint or a finder.onnx, as far as they fit.

    @param scenes where finder.onnx is thawed.
    @return the mean's weights, and what the checkpoint says of itself if all of it
      fitted: else it is a new training that starts from these weights.
    """
    device = scenes.device
    if path.endswith(".onnx"):
        new = export.thaw(model, path, scenes)
        say(f"start from {path}; new: {', '.join(new) or 'nothing'}")
        return model.state_dict(), {}
    saved = torch.load(path, map_location=device)
    new = export.fit(model, saved["mean"])
    mean = {k: v.clone() for k, v in model.state_dict().items()}
    going = os.path.join(os.path.dirname(path), "going.pt")
    if new or not os.path.exists(going):
        say(f"start from {path}; new: {', '.join(new) or 'nothing'}")
        return mean, {}
    state = torch.load(going, map_location=device)
    export.fit(model, state["model"])
    optimiser.load_state_dict(state["optimiser"])
    say(f"continue from step {saved['step']}")
    return mean, saved


def work(rank, world, options):
    begun = time.time()
    device = "cpu"
    if torch.cuda.is_available():
        device = f"cuda:{options.gpu if world == 1 else rank}"
        torch.cuda.set_device(device)
    if world > 1:
        os.environ.update(MASTER_ADDR="127.0.0.1", MASTER_PORT="29531")
        torch.distributed.init_process_group("cpu:gloo,cuda:nccl", rank=rank, world_size=world)
    torch.manual_seed(options.seed)
    torch.backends.cudnn.benchmark = True
    torch.set_float32_matmul_precision("high")
    torch.set_num_threads(4)
    os.makedirs(options.out, exist_ok=True)
    log = open(os.path.join(options.out, "log.txt"), "a", encoding="utf-8")

    def say(text):
        if rank == 0:
            print(text, flush=True)
            log.write(text + "\n")
            log.flush()

    lessons.PAINTED = options.painted
    wish = leave_out(options.without)
    model = network.Finder(options.widths).to(device)
    mean = network.Finder(options.widths).to(device)
    decayed = [p for p in model.parameters() if p.ndim > 1]
    plain = [p for p in model.parameters() if p.ndim <= 1]
    optimiser = torch.optim.AdamW([{"params": decayed, "weight_decay": 0.02},
                                   {"params": plain, "weight_decay": 0.0}],
                                  lr=options.rate, **({"fused": True} if device != "cpu" else {}))
    step, spent, painted = 0, 0.0, 0
    path = os.path.join(options.out, "checkpoint.pt")
    own = options.seed * 64 + rank
    source = path if os.path.exists(path) else options.resume
    if source:
        # The same scenes on every GPU, so that all start alike.
        some = lessons.Pool(device, options.seed * 64, options.batch, 3).draw(options.batch, True)
        thaw = lessons.lesson(pictures.Dice(device, options.seed), some, 256)[0]
        state, saved = begin(model, optimiser, source, thaw, say)
        mean.load_state_dict(state)
        step, spent, painted = (saved.get(k, 0) for k in ("step", "spent", "painted"))
    else:
        mean.load_state_dict(model.state_dict())
    count = sum(p.numel() for p in model.parameters())
    say(f"{count} parameters, {world} x {device}")
    # Every GPU paints its own scenes and throws its own dice.
    dice = pictures.Dice(device, own * 1000003 + step, options.photographs and
                         pictures.photographs(options.photographs, device, False))
    pool = lessons.Pool(device, own, options.batch, options.pool, start=painted, wish=wish)
    if device != "cpu":
        torch.cuda.synchronize()
        say(f"painted {options.pool} batches after {time.time() - begun:.1f} s")
    model.train()
    ours = [v for v in mean.state_dict().values() if v.is_floating_point()]
    theirs = [v for v in model.state_dict().values() if v.is_floating_point()]
    weights = list(model.parameters())
    slope = torch.zeros(count, device=device)
    for p, piece in zip(weights, slope.split([p.numel() for p in weights])):
        p.grad = piece.view_as(p)
    steps = {size: Step(model, dice, size, pool.draw(options.batch, True), options)
             for size in ([options.only] if options.only else [384, 256])}
    say(f"ready after {time.time() - begun:.1f} s")

    def save():
        went = spent + time.time() - begun
        whole(path, lambda to: torch.save(
            {"mean": mean.state_dict(), "step": step, "spent": went,
             "widths": options.widths, "painted": pool.next_seed - (own << 40)}, to))
        whole(os.path.join(options.out, "going.pt"), lambda to: torch.save(
            {"model": model.state_dict(), "optimiser": brief(optimiser.state_dict())}, to))
        say(f"step {step} written after {time.time() - begun:.0f} s")

    stored = time.time()
    owed = 0.0
    part, over = 0.0, False
    sums, since, told = torch.zeros(5, device=device), time.time(), step
    while True:
        if step % 10 == 0:
            now = time.time() - begun
            clock = torch.tensor([(spent + now) / options.budget, now / options.seconds])
            if world > 1:
                torch.distributed.broadcast(clock, 0)
            part, over = clock[0].item(), clock[1].item() >= 1
            if options.steps:
                part = step / options.steps
            if part >= 1 or over:
                break
        owed += 1 / options.looks
        if owed >= 1:
            owed -= 1
            pool.refresh()
        # One step in four at the size of the first, wide look; at the beginning
        # most, for they are cheap.
        wide = step % 4 == 3 if part > options.small_first else step % 4 != 3
        size = options.only or (256 if wide else 384)
        close = options.only or not wide or \
            (part <= options.small_first and step % 4 != 0)
        warm = min(1.0, (step + 1) / 400)
        rate = options.rate * warm * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(part, 1.0))))
        for group in optimiser.param_groups:
            group["lr"] = rate
        new, values = steps[size].run(pool.draw(options.batch, bool(close)))
        with torch.no_grad():
            slope.copy_(new)
            if world > 1:
                torch.distributed.all_reduce(slope)
                slope /= world
            slope *= (4.0 / (slope.norm() + 1e-6)).clamp(max=1.0)
            optimiser.step()
            keep = min(0.998, (step + 1) / (step + 10))
            torch._foreach_mul_(ours, keep)
            torch._foreach_add_(ours, theirs, alpha=1 - keep)
            sums += values
        step += 1
        if step - told == 250:
            values = (sums / 250).tolist()
            say(f"step {step} loss {values[0]:.3f} points {values[1]:.3f} masks {values[2]:.4f} "
                f"dice {values[3]:.4f} foot {values[4]:.4f} rate {rate:.2e} "
                f"{250 / (time.time() - since):.1f} steps/s at {time.time() - begun:.0f} s")
            sums.zero_()
            since, told = time.time(), step
            if rank == 0 and time.time() - stored > 120:
                save()
                stored = time.time()
    if rank == 0:
        save()
        # Checked on scenes that lack nothing, the same for every training.
        leave_out([])
        results = {"step": step, "parameters": count, "without": options.without}
        for size in steps if options.check else ():
            result = lessons.held_out(mean, device, 1, options.check, size,
                                      close=bool(options.only) or size == 384,
                                      photographs=options.photographs)
            say(f"held-out scenes, size {size}\n" + lessons.table(result))
            results[str(size)] = lessons.summary(result)
        with open(os.path.join(options.out, "results.json"), "w", encoding="utf-8") as file:
            json.dump(results, file, indent=1)
        say(f"done after {time.time() - begun:.0f} s")
    if world > 1:
        torch.distributed.destroy_process_group()


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", required=True, help="folder of checkpoint.pt and log.txt")
    parser.add_argument("--resume", help="where --out has no checkpoint: one elsewhere to "
                                         "continue from, or a finder.onnx to start from")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--budget", type=float, default=985,
                        help="seconds of the whole training: the rate falls with them")
    parser.add_argument("--steps", type=int, default=0,
                        help="of the whole training, instead of --budget")
    parser.add_argument("--only", type=int, help="train and check at this size only")
    parser.add_argument("--seconds", type=float, default=1e9,
                        help="stop and write a checkpoint after so long")
    parser.add_argument("--batch", type=int, default=64, help="of each GPU")
    parser.add_argument("--rate", type=float, default=2.5e-3)
    parser.add_argument("--small-first", type=float, default=0.3,
                        help="that part of the training is mostly at the smaller size")
    parser.add_argument("--foot-weight", type=float, default=1.0,
                        help='of the answer "this is a foot" in the loss')
    parser.add_argument("--elsewhere", type=float, default=1.0,
                        help="what a picture without a foot weighs in the loss of points "
                             "and masks, which are not there")
    parser.add_argument("--looks", type=float, default=6, help="windows cut from each scene")
    parser.add_argument("--pool", type=int, default=24, help="painted batches that are kept")
    parser.add_argument("--check", type=int, default=1024, help="held-out scenes at the end")
    parser.add_argument("--widths", type=int, nargs=6, default=network.WIDTHS)
    parser.add_argument("--without", nargs="*", default=[],
                        choices=PARTS,
                        help="what the scenes are to lack")
    parser.add_argument("--photographs", help="for grounds and surfaces: what "
                                              "photographs.py wrote")
    parser.add_argument("--painted", type=int, default=lessons.PAINTED,
                        help="size of the painted scenes [px]")
    parser.add_argument("--gpu", type=int, default=0, help="which, where --gpus is 1")
    parser.add_argument("--gpus", type=int, default=max(1, torch.cuda.device_count()))
    options = parser.parse_args()
    painter.library(torch.cuda.is_available())
    if options.gpus > 1:
        torch.multiprocessing.spawn(work, (options.gpus, options), nprocs=options.gpus)
    else:
        work(0, 1, options)


if __name__ == "__main__":
    main()
