"""Rectify the photographs of boards with a known truth, and score predicted copper against it.

    evaluate.py rectify BOARDS_DIR OUT_DIR            write <board>_<level>_<side>.{jpg,npz}
    evaluate.py score EVAL_DIR PREDICTION_DIR         print the table of figures

The boards are for measuring only: nothing here feeds the training.
Frame: 16 px/mm, pixel (column c, row r) covers c/16 .. (c+1)/16 mm, origin at the upper left corner of
the component side on both sides, no margin.
"""
import json
import pathlib
import sys

import cv2
import numpy as np

PX_PER_MM = 16


def photo_from_board(photo, x, y):
    h = np.array(photo["homography"], np.float64)
    w = h[2, 0] * x + h[2, 1] * y + h[2, 2]
    u = (h[0, 0] * x + h[0, 1] * y + h[0, 2]) / w
    v = (h[1, 0] * x + h[1, 1] * y + h[1, 2]) / w
    d = photo["distortion"]
    du, dv = u - d["centre"][0], v - d["centre"][1]
    k = 1 + d["k1"] * (du * du + dv * dv) / d["radius"] ** 2
    return d["centre"][0] + du * k, d["centre"][1] + dv * k


def rectify(image, photo, size_mm, px_per_mm=PX_PER_MM, over=2):
    """Sampled `over` times finer and averaged, so that a finer photograph does not alias."""
    width, height = (int(np.ceil(s * px_per_mm)) for s in size_mm)
    step = 1.0 / (px_per_mm * over)
    x = (np.arange(width * over) + 0.5) * step
    out = np.zeros((height, width, 3), np.uint8)
    rows = 256
    for r0 in range(0, height, rows):
        r1 = min(height, r0 + rows)
        y = (np.arange(r0 * over, r1 * over) + 0.5) * step
        gx, gy = np.meshgrid(x, y)
        u, v = photo_from_board(photo, gx, gy)
        fine = cv2.remap(image, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR,
                         borderMode=cv2.BORDER_REPLICATE)
        out[r0:r1] = cv2.resize(fine, (width, r1 - r0), interpolation=cv2.INTER_AREA)
    return out


def draw_joints(joints, side, shape, px_per_mm=PX_PER_MM):
    """Channels that the survey alone gives: pads, holes, via rings (0/255, drawn 4 times finer and averaged)."""
    over = 4
    scale = px_per_mm * over
    height, width = shape
    planes = [np.zeros((height * over, width * over), np.uint8) for _ in range(3)]
    pad, hole, via = planes
    for j in joints:
        if j["side"] not in ("both", side):
            continue
        cx, cy = j.get("cx", j["x"]), j.get("cy", j["y"])
        target = via if j["kind"] == "via" else pad
        w, h = j["size"]
        draw_shape(target, j["shape"], cx, cy, w, h, j["rot"], scale)
        if j["drill"]:
            draw_shape(hole, "oval", j["x"], j["y"], j["drill"][0], j["drill"][1], j["rot"], scale)
    # INTER_AREA of masks: coverage
    return [cv2.resize(p, (width, height), interpolation=cv2.INTER_AREA) for p in planes]


def draw_shape(plane, kind, x, y, w, h, rot_deg, scale):
    shift = 4
    unit = 1 << shift

    def at(px, py):
        return int(round((px * scale - 0.5) * unit)), int(round((py * scale - 0.5) * unit))

    if kind == "circle" or (kind == "oval" and abs(w - h) < 1e-6):
        cv2.circle(plane, at(x, y), int(round(max(w, h) / 2 * scale * unit)), 255, -1, cv2.LINE_8, shift)
        return
    a = np.deg2rad(rot_deg)
    # counter-clockwise as seen with y down: x' = x cos + y sin, y' = -x sin + y cos
    def turn(px, py):
        return x + px * np.cos(a) + py * np.sin(a), y - px * np.sin(a) + py * np.cos(a)

    if kind == "oval":
        r = min(w, h) / 2
        dx, dy = max(0, w / 2 - r), max(0, h / 2 - r)
        for sx, sy in ((-1, -1), (1, 1)):
            cv2.circle(plane, at(*turn(sx * dx, sy * dy)), int(round(r * scale * unit)), 255, -1, cv2.LINE_8, shift)
        if w > h:
            w -= 2 * r
        else:
            h -= 2 * r
    corners = [turn(sx * w / 2, sy * h / 2) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    cv2.fillConvexPoly(plane, np.array([at(*c) for c in corners], np.int32), 255, cv2.LINE_8, shift)


def load_copper(path, shape):
    mask = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    mask = (mask > 0).astype(np.uint8) * 255  # 20 px/mm
    height, width = shape
    x = (np.arange(width) + 0.5) / PX_PER_MM * 20 - 0.5
    y = (np.arange(height) + 0.5) / PX_PER_MM * 20 - 0.5
    gx, gy = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
    return cv2.remap(mask, gx, gy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT) > 127


def command_rectify(boards_dir, out_dir):
    out_dir = pathlib.Path(out_dir)
    out_dir.mkdir(parents=True, exist_ok=True)
    for path in sorted(pathlib.Path(boards_dir).glob("*/board.json")):
        board = json.loads(path.read_text())
        for photo in board["photos"]:
            level, side = photo.get("level", "real"), photo["side"]
            image = cv2.imread(str(path.parent / photo["file"]))
            flat = rectify(image, photo, board["size"])
            name = f"{path.parent.name}_{level}_{side}"
            cv2.imwrite(str(out_dir / f"{name}.png"), flat)
            cv2.imwrite(str(out_dir / f"{name}.jpg"), flat, [cv2.IMWRITE_JPEG_QUALITY, 93])
            shape = flat.shape[:2]
            pad, hole, via = draw_joints(board["joints"], side, shape)
            truth_file = path.parent / f"copper_{side}_damaged.png"
            if level != "damaged" or not truth_file.exists():
                truth_file = path.parent / f"copper_{side}.png"
            truth = load_copper(truth_file, shape)
            np.savez_compressed(out_dir / f"{name}.npz", pad=pad, hole=hole, via=via, truth=truth)
            print(name, flat.shape, "pad pixels on true copper %.3f" % truth[pad > 200].mean(), flush=True)
        nets = board["damage"]["nets"] if board.get("damage") else None
        (out_dir / f"{path.parent.name}.json").write_text(json.dumps(
            {"joints": board["joints"], "nets": board["nets"], "damaged_nets": nets,
             "real": "real" in str(boards_dir)}))


def join(coppers, joints):
    """Union of joints through the connected areas of both sides' copper (bool images by side)."""
    parent = {}

    def find(a):
        while parent.setdefault(a, a) != a:
            parent[a] = parent[parent[a]]
            a = parent[a]
        return a

    for side, copper in coppers.items():
        count, labels = cv2.connectedComponents(copper.astype(np.uint8), connectivity=4)
        height, width = labels.shape
        for i, j in enumerate(joints):
            on = j["side"] == "both" or j["side"] == side
            if not on:
                continue
            node = ("j", i) if (j["side"] != "both" or j["plated"] or j["kind"] == "via") else ("j", i, side)
            if node != ("j", i):
                continue
            cx, cy = j.get("cx", j["x"]), j.get("cy", j["y"])
            r = max(1, int(min(j["size"]) * PX_PER_MM * 0.35))
            x, y = int(cx * PX_PER_MM), int(cy * PX_PER_MM)
            patch = labels[max(0, y - r):y + r + 1, max(0, x - r):x + r + 1]
            ids, n = np.unique(patch[patch > 0], return_counts=True)
            if len(ids):
                a, b = find(("j", i)), find((side, int(ids[np.argmax(n)])))
                parent[a] = b
    return [find(("j", i)) for i in range(len(joints))]


def pair_scores(found, joints, nets):
    """Same-net pairs of pads: precision, recall, F1."""
    place = {j["id"]: i for i, j in enumerate(joints)}
    true = {}
    for n, net in enumerate(nets):
        for name in net:
            true[place[name]] = n
    from collections import Counter
    pads = [i for i, j in enumerate(joints) if j["kind"] == "pad"]
    pairs = lambda counts: sum(n * (n - 1) // 2 for n in counts.values())
    f = pairs(Counter(found[i] for i in pads))
    t = pairs(Counter(true[i] for i in pads))
    both = pairs(Counter((found[i], true[i]) for i in pads))
    p, r = both / max(1, f), both / max(1, t)
    return p, r, 2 * p * r / max(1e-9, p + r)


def auc(score, truth):
    """Area under the ROC curve from 8-bit scores."""
    pos = np.bincount(score[truth], minlength=256).astype(float)
    neg = np.bincount(score[~truth], minlength=256).astype(float)
    below = np.cumsum(neg) - neg
    return float((pos * (below + 0.5 * neg)).sum() / max(1.0, pos.sum() * neg.sum()))


def command_score(eval_dir, prediction_dir, threshold=128):
    eval_dir, prediction_dir = pathlib.Path(eval_dir), pathlib.Path(prediction_dir)
    rows = []
    for path in sorted(eval_dir.glob("*.json")):
        board = json.loads(path.read_text())
        slug = path.stem
        for level in ("bare", "populated", "poor", "damaged", "real"):
            coppers, aucs, shares, ious = {}, [], [], []
            for side in ("top", "bottom"):
                name = f"{slug}_{level}_{side}"
                file = prediction_dir / f"{name}.copper.png"
                if not file.exists():
                    continue
                p = cv2.imread(str(file), cv2.IMREAD_GRAYSCALE)
                truth = np.load(eval_dir / f"{name}.npz")["truth"]
                d = cv2.distanceTransform(truth.astype(np.uint8), cv2.DIST_L2, 3) + \
                    cv2.distanceTransform((~truth).astype(np.uint8), cv2.DIST_L2, 3)
                near = d < 0.6 * PX_PER_MM
                aucs.append(auc(p[near], truth[near]))
                guess = p >= threshold
                shares.append(float((guess == truth)[near].mean()))
                ious.append(float((guess & truth).sum() / max(1, (guess | truth).sum())))
                coppers[side] = guess
            if len(coppers) < 2:
                continue
            nets = board["damaged_nets"] if level == "damaged" else board["nets"]
            p, r, f1 = pair_scores(join(coppers, board["joints"]), board["joints"], nets)
            rows.append((slug, level, *aucs, *ious, p, r, f1))
            print("%-26s %-9s auc %.3f %.3f  iou %.3f %.3f  precision %.3f recall %.3f F1 %.3f" % rows[-1], flush=True)
    for level in ("bare", "populated", "poor", "damaged", "real"):
        some = [r for r in rows if r[1] == level]
        if some:
            print("mean %-9s auc %.3f  iou %.3f  F1 %.3f" % (
                level, np.mean([r[2:4] for r in some]), np.mean([r[4:6] for r in some]), np.mean([r[8] for r in some])))


if __name__ == "__main__":
    {"rectify": command_rectify, "score": command_score}[sys.argv[1]](*sys.argv[2:])
