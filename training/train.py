"""Train the pixel model on drawn boards.

    train.py --layers DIR --out DIR --seconds N [--start MODEL.pt] [--eval EVAL_DIR] [--workers N --boards N]

Layout files (*.npy: sides x planes x height x width, see layouts.PLANES) are read from DIR as they appear; with
--workers, this program draws them there itself, in the background, while it trains.
"""
import argparse
import glob
import json
import math
import multiprocessing
import os
import pathlib
import subprocess
import sys
import time
import zlib

import numpy as np
import torch
from torch.nn import functional as F

from layouts import PLANES
from model import STRIDE, CopperNet, log_colour, spread
from paint import blur, paint

IDS = [PLANES.index(n) for n in ("part", "tall")]
JOINTS = [PLANES.index(n) for n in ("pad", "hole", "dimple", "via")]


def draw_boards(seeds, out):
    from layouts import make
    for seed in seeds:
        if os.path.exists(f"{out}/stop"):
            return
        try:
            sides = make(seed)
        except Exception as trouble:  # one odd seed must not end the drawing
            print("seed", seed, trouble, flush=True)
            continue
        np.save(f"{out}/part{seed}.tmp.npy", np.stack(sides))
        os.rename(f"{out}/part{seed}.tmp.npy", f"{out}/board{seed}.npy")


def adopted(a):
    """Sides of a file of draw_layers (README.md) in the order PLANES."""
    if a.shape[1] == len(PLANES):
        return list(a)
    out = []
    for k in (0, 1):
        copper, opened, silk, hole, kind, tall, pad, _ = a[k]
        covered = opened < 128
        part = np.where(np.isin(kind, (4, 11, 12, 14)), 1, np.where(kind > 0, kind + 2, 0)).astype(np.uint8)
        out.append(np.stack([copper, a[1 - k][0], opened, silk, np.where(covered, 0, hole), np.where(covered, hole, 0),
                             np.where(covered, 0, pad), np.where(covered, pad, 0), np.full_like(copper, 255), part, tall]))
    return out


class Boards:
    def __init__(self, folder, device, limit, share=0, of=1):
        self.folder, self.device, self.limit, self.share, self.of = folder, device, limit, share, of
        self.known, self.sides, self.weights = set(), [], []
        self.bytes = 0

    def look(self, most=40):
        for f in sorted(glob.glob(f"{self.folder}/*.npy")):
            if zlib.crc32(f.encode()) % self.of != self.share or f in self.known or f.endswith(".tmp.npy") or self.bytes > self.limit or (f.find('board-') >= 0 and time.time() - os.path.getmtime(f) < 1):
                continue
            self.known.add(f)
            for side in adopted(np.load(f)):
                self.sides.append(torch.from_numpy(np.ascontiguousarray(side)).to(self.device))
                self.weights.append(side.shape[1] * side.shape[2])
                self.bytes += side.size
            most -= 1
            if most <= 0:
                break

    def crops(self, n, size):
        """n random views as layers, and the joint planes a little out of place."""
        dev = self.device
        w = np.array(self.weights, float)
        picks = np.random.choice(len(w), n, p=w / w.sum())
        out, joints = [], []
        for i in picks:
            side = self.sides[i]
            _, h, wd = side.shape
            scale = math.exp(np.random.uniform(math.log(0.8), math.log(1.25))) if np.random.rand() < 0.6 else 1.0
            angle = np.random.randint(4) * math.pi / 2
            angle += np.random.uniform(-math.pi / 4, math.pi / 4) if np.random.rand() < 0.06 else np.random.normal() * 0.01
            flip = np.random.choice([-1, 1])
            reach = size / 2 / scale
            cx = np.random.uniform(min(reach * 0.8, wd / 2), max(wd - reach * 0.8, wd / 2))
            cy = np.random.uniform(min(reach * 0.8, h / 2), max(h - reach * 0.8, h / 2))
            c, s = math.cos(angle) / scale, math.sin(angle) / scale
            r = int(reach * 1.5) + 4
            x0, y0, x1, y1 = max(0, int(cx) - r), max(0, int(cy) - r), min(wd, int(cx) + r), min(h, int(cy) + r)
            area = side[:, y0:y1, x0:x1].float().unsqueeze(0)
            aw, ah = x1 - x0, y1 - y0
            half = size / 2

            def look(planes, ox, oy, kx, ky, mode):
                theta = torch.tensor([[[flip * c * kx * half * 2 / aw, -flip * s * ky * half * 2 / aw, (cx + ox - x0) * 2 / aw - 1],
                                       [s * kx * half * 2 / ah, c * ky * half * 2 / ah, (cy + oy - y0) * 2 / ah - 1]]])
                grid = F.affine_grid(theta.float().to(dev), (1, 1, size, size), align_corners=False)
                return F.grid_sample(planes, grid, mode=mode, padding_mode="zeros", align_corners=False)

            layers = look(area, 0, 0, 1, 1, "bilinear") / 255
            layers[:, IDS] = look(area[:, IDS], 0, 0, 1, 1, "nearest")
            out.append(layers)
            a, m = np.random.uniform(0, 2 * math.pi), min(1.6, abs(np.random.normal()) * 0.6)
            stretch = 1 + np.random.normal(size=2) * 0.6 / half * (np.random.rand() < 0.5)
            joints.append(look(area[:, JOINTS], m * math.cos(a), m * math.sin(a), *stretch, "bilinear") / 255)
        layers = torch.cat(out)
        layers[:, IDS[1]] /= 255
        joints = torch.cat(joints)
        L = {name: layers[:, k:k + 1] for k, name in enumerate(PLANES)}
        planes = torch.cat([joints[:, 0:1], torch.maximum(joints[:, 1:2], joints[:, 2:3]), joints[:, 3:4]], 1)
        return L, planes


def weight_map(copper, hidden, board, pad):
    """More for what the links hang on: narrow gaps, thin tracks, rings round pads, everything near an edge. By
    place only, the same for copper and for none, so that probabilities stay honest."""
    c = copper
    wide = lambda x, r: F.max_pool2d(x, 2 * r + 1, 1, r)
    closed = 1 - wide(1 - wide(c, 4), 4)
    opened = wide(1 - wide(1 - c, 3), 3)
    narrow = wide(torch.maximum(closed - c, c - opened), 2)
    edge = wide(c, 7) - (1 - wide(1 - c, 7))
    ring = wide(pad, 8) - (pad > 0.5).float()
    return (0.5 + edge + 2.0 * narrow + 1.5 * ring.clamp(0, 1)) * (1 - 0.6 * hidden) * (0.02 + 0.98 * board)


@torch.no_grad()
def make_batch(boards, n, size, micro, ease=0.0):
    planes, labels, weights = [], [], []
    for _ in range(n // micro):
        L, joints = boards.crops(micro, size)
        picture, hidden, tone = paint(L, ease)
        b = micro
        told = (torch.rand(b, device=picture.device) < 0.3).float() * tone
        hint = told.view(b, 1, 1, 1).expand(b, 1, size, size)
        # a survey may lack vias, and now and then pads
        keep = torch.ones(b, 3, 1, 1, device=picture.device)
        keep[:, 2:] = (torch.rand(b, 1, 1, 1, device=picture.device) > 0.15).float()
        planes.append(torch.cat([log_colour(picture), joints * keep, hint, L["board"]], 1))
        copper = (L["copper"] > 0.5).float()
        labels.append(torch.cat([copper, hidden], 1))
        weights.append(weight_map(copper, hidden, L["board"], L["pad"]))
    return torch.cat(planes), torch.cat(labels), torch.cat(weights)


def painter(number, crew, a, queue):
    """A process that paints batches from its own share of the boards for the learner to take."""
    torch.manual_seed(a.seed * 1000 + number)
    np.random.seed(a.seed * 1000 + number)
    torch.backends.cuda.matmul.allow_tf32 = True
    device = torch.device("cuda")
    boards = Boards(a.layers, device, 36e9 / crew, number, crew)
    while len(boards.known) < 20:
        boards.look(10000)
        time.sleep(0.2)
    held, begun, k = [], time.time(), 0
    while True:
        if k % 3 == 0:
            boards.look(6)
        part = (time.time() - begun) / a.seconds
        x, y, w = make_batch(boards, a.batch, a.size, a.micro, max(0.0, 1 - part / 0.25) if not a.start else 0.0)
        batch = (x.half(), y.byte(), w.half())
        torch.cuda.synchronize()
        held = (held + [batch])[-8:]  # memory that the learner may still be copying from
        queue.put(batch)
        k += 1


def loss_of(logits, labels, weights):
    copper = F.binary_cross_entropy_with_logits(logits[:, 0:1], labels[:, 0:1], reduction="none")
    hidden = F.binary_cross_entropy_with_logits(logits[:, 1:2], labels[:, 1:2], reduction="none")
    return (copper * weights).sum() / weights.sum() + 0.25 * hidden.mean(), copper.mean(), hidden.mean()


def turned(x, y, w):
    """All of a batch in one of the eight poses."""
    k, flip = np.random.randint(4), np.random.rand() < 0.5
    out = []
    for p in (x, y, w):
        p = torch.rot90(p, k, (2, 3))
        out.append(p.flip(-1) if flip else p)
    return out[0], out[1].float(), out[2].float()


def side_planes(bgr, pad, hole, via, hint, device):
    h, w = bgr.shape[:2]
    ph, pw = (-h) % STRIDE, (-w) % STRIDE
    colour = log_colour(torch.from_numpy(bgr).to(device).permute(2, 0, 1).unsqueeze(0).float() / 255)
    flat = lambda a: torch.from_numpy(a).to(device).float().view(1, 1, h, w) / 255
    x = torch.cat([colour, flat(pad), flat(hole), flat(via), torch.full((1, 1, h, w), float(hint), device=device),
                   torch.ones(1, 1, h, w, device=device)], 1)
    return F.pad(x, (0, pw, 0, ph))


@torch.no_grad()
def predict_all(net, eval_dir, out, device, kinds=("",)):
    import cv2
    out.mkdir(parents=True, exist_ok=True)
    for f in sorted(glob.glob(f"{eval_dir}/*.npz")):
        name = pathlib.Path(f).stem
        bgr = cv2.imread(f"{eval_dir}/{name}.jpg")
        z = np.load(f)
        h, w = bgr.shape[:2]
        with torch.autocast(device.type, dtype=torch.bfloat16, enabled=device.type == "cuda"):
            y = net(side_planes(bgr, z["pad"], z["hole"], z["via"], 0, device))
        p = torch.sigmoid(spread(y.float()))[0, :, :h, :w]
        for k, kind in enumerate(("copper", "hidden")):
            cv2.imwrite(str(out / f"{name}.{kind}.png"), (p[k] * 255).round().byte().cpu().numpy())


def main():
    arg = argparse.ArgumentParser()
    arg.add_argument("--layers", required=True)
    arg.add_argument("--out", required=True)
    arg.add_argument("--seconds", type=float, default=480)
    arg.add_argument("--start")
    arg.add_argument("--eval")
    arg.add_argument("--workers", type=int, default=0)
    arg.add_argument("--boards", type=int, default=3000)
    arg.add_argument("--first-seed", type=int, default=0)
    arg.add_argument("--wait", type=int, default=150)
    arg.add_argument("--batch", type=int, default=32)
    arg.add_argument("--micro", type=int, default=16)
    arg.add_argument("--painters", type=int, default=0)
    arg.add_argument("--echo", type=int, default=4)
    arg.add_argument("--shelf", type=int, default=60)
    arg.add_argument("--size", type=int, default=512)
    arg.add_argument("--rate", type=float, default=2e-3)
    arg.add_argument("--seed", type=int, default=1)
    a = arg.parse_args()
    torch.manual_seed(a.seed)
    np.random.seed(a.seed)
    out = pathlib.Path(a.out)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    os.makedirs(a.layers, exist_ok=True)
    begun = time.time()
    spawn = multiprocessing.get_context("spawn")
    crew = [spawn.Process(target=draw_boards, args=(range(a.first_seed + k, a.first_seed + a.boards, a.workers), a.layers), daemon=True)
            for k in range(a.workers)]
    for p in crew:
        p.start()
    torch_mp = torch.multiprocessing.get_context("spawn")
    queue = torch_mp.Queue(4)
    painters = [torch_mp.Process(target=painter, args=(k, a.painters, a, queue), daemon=True) for k in range(a.painters)]
    for p in painters:
        p.start()
    boards = None
    shelf = []
    if not painters:
        boards = Boards(a.layers, device, 40e9)
        while len(boards.known) < min(a.wait, a.boards):
            boards.look(10000)
            time.sleep(0.2)

    def take(block):
        """One more painted batch on the shelf, if one is ready."""
        try:
            batch = queue.get(block, 100)
        except Exception:
            return False
        shelf.append(tuple(t.clone() for t in batch))
        del batch
        if len(shelf) > a.shelf:
            shelf.pop(0)
        return True

    if painters:
        take(True)
    print("first batch after %.0f s" % (time.time() - begun), flush=True)

    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    net = CopperNet().to(device).to(memory_format=torch.channels_last)
    if a.start:
        net.load_state_dict(torch.load(a.start, map_location=device))
    mean_net = CopperNet().to(device)
    mean_net.load_state_dict(net.state_dict())
    mean_list = [p.data for p in mean_net.parameters()] + [b for b in mean_net.buffers() if b.is_floating_point()]
    live_list = [p.data for p in net.parameters()] + [b for b in net.buffers() if b.is_floating_point()]
    plain = [p for p in net.parameters() if p.ndim > 1]
    rest = [p for p in net.parameters() if p.ndim <= 1]
    opt = torch.optim.AdamW([{"params": plain, "weight_decay": 0.01}, {"params": rest, "weight_decay": 0.0}], lr=a.rate, betas=(0.9, 0.99))
    taken = 0
    step, sums, times = 0, torch.zeros(3, device=device), [0.0, 0.0]
    start = time.time()
    while True:
        part = (time.time() - start) / a.seconds
        if part >= 1:
            break
        rate = a.rate * min(1, (step + 1) / 150) * (0.5 * (1 + math.cos(math.pi * part)) * 0.99 + 0.01)
        for g in opt.param_groups:
            g["lr"] = rate
        t0 = time.time()
        # Painting costs more than learning: each painted batch is learnt from several times, turned about in between.
        if painters:
            fresh = take(len(shelf) < 4)
            while taken < step / 8 and len(shelf) >= 4:  # not more than eight times on the average
                fresh = take(True)
                taken += 1
            taken += 1 if fresh else 0
        else:
            fresh = step % a.echo == 0 or len(shelf) < 4
            if fresh:
                boards.look(2)
                x, y, w = make_batch(boards, a.batch, a.size, a.micro, max(0.0, 1 - part / 0.25) if not a.start else 0.0)
                shelf.append((x.half(), y.byte(), w.half()))
                if len(shelf) > a.shelf:
                    shelf.pop(0)
            taken += 1 if fresh else 0
        x, y, w = turned(*(shelf[-1] if fresh else shelf[np.random.randint(len(shelf))]))
        if step < 40 and device.type == "cuda":
            torch.cuda.synchronize()
        t1 = time.time()
        x = (x if device.type == "cuda" else x.float()).contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.type, dtype=torch.bfloat16, enabled=device.type == "cuda"):
            z = net(x)
        loss, lc, lh = loss_of(spread(z.float()), y, w)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        norm = torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        opt.step()
        if step < 40 and device.type == "cuda":
            torch.cuda.synchronize()
        t2 = time.time()
        if 10 <= step < 40:
            times[0] += t1 - t0
            times[1] += t2 - t1
        with torch.no_grad():
            keep = min(0.998, step / (step + 20))
            torch._foreach_mul_(mean_list, keep)
            torch._foreach_add_(mean_list, live_list, alpha=1 - keep)
            sums += torch.stack([loss.detach(), lc.detach(), lh.detach()])
            if step % 100 == 99:
                p = spread(z.float())
                clear = (y[:, 1:2] < 0.5) & (x[:, 7:8] > 0.5)
                right = ((p[:, 0:1] > 0) == (y[:, 0:1] > 0.5)).float()
                each = (right * clear).sum((1, 2, 3)) / clear.sum((1, 2, 3)).clamp(min=1)
                thin = (w > 2.5) & clear
                print("  seen right %.3f, narrow places %.3f, by picture %s, norm %.2f" % ((right * clear).sum() / clear.sum(),
                      (right * thin).sum() / thin.sum(), " ".join("%.2f" % v for v in sorted(each.tolist())[::4]), norm), flush=True)
        step += 1
        if step % 1000 == 0:  # in case the run is cut short
            out.mkdir(parents=True, exist_ok=True)
            torch.save(mean_net.state_dict(), out / "model.pt")
        if step == 40:
            print("seconds a step: painting %.3f, learning %.3f; memory %.1f GB" % (times[0] / 30, times[1] / 30,
                  torch.cuda.max_memory_allocated() / 1e9 if device.type == "cuda" else 0), flush=True)
        if step % 200 == 0:
            s = (sums / 200).tolist()
            print("%5d  %.0f s  painted %d  loss %.4f copper %.4f hidden %.4f" % (step, time.time() - start, taken, *s), flush=True)
            sums.zero_()
    pathlib.Path(a.layers, "stop").write_text("")
    for p in painters:
        p.terminate()
    mean_net.eval()
    out.mkdir(parents=True, exist_ok=True)
    torch.save(mean_net.state_dict(), out / "model.pt")
    print("steps", step, flush=True)
    if a.eval:
        try:
            predict_all(mean_net, a.eval, pathlib.Path("/tmp/predicted"), device)
            here = pathlib.Path(__file__).parent
            print(subprocess.run([sys.executable, str(here / "evaluate.py"), "score", a.eval, "/tmp/predicted"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True).stdout, flush=True)
        except Exception as trouble:
            print("evaluation failed:", trouble, flush=True)


if __name__ == "__main__":
    main()
