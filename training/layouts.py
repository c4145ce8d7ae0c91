"""Quick two-layer layouts for training: parts set at random, nets drawn where a bent track fits, pours, print.

No board that exists is copied. Each call makes one board from its seed and returns, for either side, planes of
0..255 coverage at 16 px/mm (in the side's own unmirrored frame), in the order PLANES.
"""
import math
import sys

import cv2
import numpy as np

PLANES = ("copper", "back", "open", "silk", "hole", "dimple", "pad", "via", "board", "part", "tall")
PX = 16       # of the planes and of the collision map
FINE = 2      # copper is drawn this much finer and averaged
SHIFT = 4


class Board:
    def __init__(self, seed):
        self.r = np.random.default_rng(seed)
        r = self.r
        self.w, self.h = r.uniform(42, 78), r.uniform(42, 78)
        self.size = (int(self.h * PX), int(self.w * PX))
        self.occ = [np.zeros(self.size, np.int16) for _ in range(2)]
        self.bodies_taken = np.zeros((int(self.h * 4) + 1, int(self.w * 4) + 1), np.uint8)
        self.pads = []      # dicts: x y w h shape rot side(0,1,2=both) drill net part plated
        self.tracks = []    # side, net, width, points
        self.vias = []
        self.bodies = []    # kind, polygon or circle, height, id, side
        self.silk = [[], []]
        self.smd = r.choice([0.0, 0.0, 0.15, 0.5, 0.9])
        self.signal = r.choice([0.15, 0.18, 0.2, 0.25, 0.25, 0.3, 0.3, 0.4, 0.5, 0.7, 1.0])
        self.clear = max(0.13, min(0.5, self.signal * r.uniform(0.7, 1.3)))
        self.via = (r.uniform(0.55, 1.0), 0)
        self.via = (self.via[0], self.via[0] * r.uniform(0.4, 0.6))
        self.pad_scale = r.uniform(0.85, 1.2)
        self.next_id = 2

    # --- parts
    def free(self, x0, y0, x1, y1, side):
        if x0 < 1 or y0 < 1 or x1 > self.w - 1 or y1 > self.h - 1:
            return False
        a = self.bodies_taken[int(y0 * 4):int(math.ceil(y1 * 4)), int(x0 * 4):int(math.ceil(x1 * 4))]
        if a.any():
            return False
        a[:] = 1
        return True

    def put(self, pads, body, kind, height, side, quarter, x, y, outline=True, extra=()):
        """pads: (dx, dy, w, h, shape, drill); body: (x0, y0, x1, y1) about the origin."""
        r = self.r
        a = quarter * math.pi / 2
        ca, sa = round(math.cos(a), 9), round(math.sin(a), 9)
        turn = lambda px, py: (x + px * ca - py * sa, y + px * sa + py * ca)
        xs = [p[0] + s * p[2] / 2 for p in pads for s in (-1, 1)] + [body[0], body[2]]
        ys = [p[1] + s * p[3] / 2 for p in pads for s in (-1, 1)] + [body[1], body[3]]
        c = [turn(px, py) for px in (min(xs) - 0.3, max(xs) + 0.3) for py in (min(ys) - 0.3, max(ys) + 0.3)]
        bx = (min(p[0] for p in c), min(p[1] for p in c), max(p[0] for p in c), max(p[1] for p in c))
        if not self.free(*bx, side):
            return False
        part = len(self.bodies)
        ident = self.next_id
        self.next_id = 2 + (self.next_id - 1) % 250
        for dx, dy, w, h, shape, drill in pads:
            px, py = turn(dx, dy)
            if quarter % 2:
                w, h = h, w
            self.pads.append(dict(x=px, y=py, w=w, h=h, shape=shape, side=2 if drill else side, drill=drill, net=0,
                                  part=part, rot=0.0))
        q = [turn(body[0], body[1]), turn(body[2], body[1]), turn(body[2], body[3]), turn(body[0], body[3])]
        self.bodies.append(dict(kind=kind, poly=q, height=height, id=ident, side=side, leads=[
            ([turn(*p) for p in lead], lh) for lead, lh in extra]))
        if outline and r.random() < 0.85:
            self.silk[side].append(("poly", q, kind == "round"))
        name = r.choice(list("RCUDQJLKTP")) + str(r.integers(1, 99))
        tx, ty = turn(*((body[0], body[1] - 1.2) if r.random() < 0.6 else (body[0] + 0.3, (body[1] + body[3]) / 2)))
        self.silk[side].append(("text", (tx, ty), name, r.uniform(0.9, 1.6), int(r.integers(0, 2)) if quarter % 2 else 0))
        return True

    def th(self, d=1.6):
        d *= self.pad_scale
        return d, self.r.uniform(0.4, 0.58) * d

    def place(self):
        r = self.r
        q = int(r.integers(4))
        pitch = 2.54 if r.random() < 0.7 else 1.27
        x = round(r.uniform(3, self.w - 3) / pitch) * pitch
        y = round(r.uniform(3, self.h - 3) / pitch) * pitch
        if r.random() < self.smd:
            side = int(r.random() < 0.3)
            kind = r.choice(["chip", "chip", "chip", "soic", "sot", "tssop", "qfp"])
            if kind == "chip":
                l, w = [(1.0, 0.5), (1.6, 0.8), (2.0, 1.25), (3.2, 1.6), (6.3, 3.2)][r.integers(5)]
                p = [(s * l / 2 * 1.0, 0, l * 0.42, w * 1.15, "roundrect", 0) for s in (-1, 1)]
                e = [([(s * l * 0.5, -w / 2), (s * l * 0.3, -w / 2), (s * l * 0.3, w / 2), (s * l * 0.5, w / 2)], 0.3 * w + 0.05) for s in (-1, 1)]
                return self.put(p, (-l / 2, -w / 2, l / 2, w / 2), "box", 0.3 * w + 0.03, side, q, x, y, r.random() < 0.5, e)
            if kind == "sot":
                p = [(-1, -0.95, 1.0, 0.7, "rect", 0), (-1, 0.95, 1.0, 0.7, "rect", 0), (1, 0, 1.0, 0.7, "rect", 0)]
                e = [([(a - 0.35, b - 0.2), (a + 0.35, b - 0.2), (a + 0.35, b + 0.2), (a - 0.35, b + 0.2)], 0.2) for a, b, *_ in p]
                return self.put(p, (-0.65, -1.45, 0.65, 1.45), "box", 1.0, side, q, x, y, True, e)
            pt, reach, n, four = {"soic": (1.27, 2.7, r.integers(4, 11), 0), "tssop": (0.65, 2.9, r.integers(4, 13), 0),
                                  "qfp": ([0.5, 0.65, 0.8][r.integers(3)], 0, r.integers(6, 17), 1)}[kind]
            if four:
                reach = n * pt / 2 + 1.2
            pl = 1.5
            p, e = [], []
            for i in range(n):
                for s in (-1, 1):
                    at = (i - (n - 1) / 2) * pt
                    p.append((s * reach, at, pl, pt * 0.55, "rect", 0))
                    e.append(([(s * (reach - 0.9), at - pt * 0.2), (s * (reach + 0.3), at - pt * 0.2), (s * (reach + 0.3), at + pt * 0.2), (s * (reach - 0.9), at + pt * 0.2)], 0.2))
                    if four:
                        p.append((at, s * reach, pt * 0.55, pl, "rect", 0))
                        e.append(([(at - pt * 0.2, s * (reach - 0.9)), (at - pt * 0.2, s * (reach + 0.3)), (at + pt * 0.2, s * (reach + 0.3)), (at + pt * 0.2, s * (reach - 0.9))], 0.2))
            b = reach - 0.8
            hh = b if four else n * pt / 2 + 0.2
            return self.put(p, (-b, -hh, b, hh), "box", 1.4, side, q, x, y, True, e)
        kind = r.choice(["dip", "dip", "sip", "sip2", "axial", "axial", "axial", "radial", "radial", "disc", "to92", "to220", "box", "lone"])
        side = int(r.random() < 0.06)
        d, dr = self.th(r.choice([1.4, 1.6, 1.8, 2.0]))
        first = r.choice(["rect", "circle"])
        shape = r.choice(["circle", "circle", "oval"])
        if kind == "dip":
            n, wd = int(r.integers(3, 17)), r.choice([7.62, 7.62, 15.24])
            w, h = (d * 1.25, d) if shape == "oval" else (d, d)
            p = [(s * wd / 2, (i - (n - 1) / 2) * 2.54, w, h, first if (i == 0 and s < 0) else shape, dr) for i in range(n) for s in (-1, 1)]
            b = wd / 2 - r.uniform(0.2, 1.0)
            e = [([(s * (b - 0.1), a - 0.5), (s * (b + 0.9), a - 0.5), (s * (b + 0.9), a + 0.5), (s * (b - 0.1), a + 0.5)], 1.0) for a in [(i - (n - 1) / 2) * 2.54 for i in range(n)] for s in (-1, 1)]
            return self.put(p, (-b, -n * 1.27, b, n * 1.27), "box", r.uniform(3, 8), side, q, x, y, True, e)
        if kind in ("sip", "sip2"):
            n, pt = int(r.integers(2, 17)), r.choice([2.54, 2.54, 2.0, 5.08, 3.5])
            if pt > 3:
                d, dr = d * 1.5, dr * 1.5
            rows = 1 if kind == "sip" else 2
            p = [((j - (rows - 1) / 2) * pt, (i - (n - 1) / 2) * pt, d, d, first if i == 0 else shape, dr) for i in range(n) for j in range(rows)]
            b = rows * pt / 2 + (r.uniform(0, 3) if pt > 3 else 0)
            return self.put(p, (-b, -n * pt / 2, b, n * pt / 2), "box", r.uniform(1.5, 10), side, q, x, y)
        if kind == "axial":
            n = int(r.integers(3, 8)) * 2.54
            l, w = n * r.uniform(0.5, 0.75), r.uniform(1.6, 3.6)
            p = [(s * n / 2, 0, d, d, shape if s > 0 else first, dr) for s in (-1, 1)]
            e = [([(s * n / 2, -0.3), (s * l / 2, -0.3), (s * l / 2, 0.3), (s * n / 2, 0.3)], w / 2) for s in (-1, 1)]
            return self.put(p, (-l / 2, -w / 2, l / 2, w / 2), "roll", w, side, q, x, y, True, e)
        if kind == "radial":
            n = r.choice([2.0, 2.54, 3.5, 5.0, 7.5])
            b = n * r.uniform(1.0, 1.4)
            return self.put([(s * n / 2, 0, d, d, first if s < 0 else shape, dr) for s in (-1, 1)], (-b, -b, b, b), "round", r.uniform(5, 24), side, q, x, y)
        if kind == "disc":
            n = r.choice([2.54, 5.08, 7.62])
            return self.put([(s * n / 2, 0, d, d, shape, dr) for s in (-1, 1)], (-n * 0.75, -r.uniform(0.8, 1.8), n * 0.75, r.uniform(0.8, 1.8)), "round", r.uniform(3, 9), side, q, x, y)
        if kind == "to92":
            pt = r.choice([1.27, 2.54])
            k = min(d, pt * 0.8)
            return self.put([((i - 1) * pt, 0, k, d * 1.1, shape if i else "rect", min(dr, k * 0.55)) for i in range(3)], (-2.3, -2.0, 2.3, 1.6), "round", 4.5, side, q, x, y)
        if kind == "to220":
            return self.put([((i - 1) * 2.54, 0, 1.8, 2.6, "oval" if i else "rect", 1.1) for i in range(3)], (-5, -4.5, 5, 0.8), "box", r.uniform(8, 20), side, q, x, y)
        if kind == "box":
            w, h = r.uniform(4, 14), r.uniform(4, 12)
            n = int(r.integers(2, 8))
            p, used = [], []
            for _ in range(n):
                a, b = round(r.uniform(-w + 1.5, w - 1.5) / 2 / 1.27) * 1.27, round(r.uniform(-h + 1.5, h - 1.5) / 2 / 1.27) * 1.27
                if all(abs(a - u) > 2.6 or abs(b - v) > 2.6 for u, v in used):
                    used.append((a, b))
                    p.append((a, b, d * 1.2, d * 1.2, shape, dr))
            return self.put(p, (-w / 2, -h / 2, w / 2, h / 2), "box", r.uniform(3, 18), side, q, x, y) if p else False
        k = r.uniform(1.5, 6.5)
        return self.put([(0, 0, k, k, "circle", k * r.uniform(0.4, 0.7) if r.random() < 0.7 else 0)], (-0.2, -0.2, 0.2, 0.2), "none", 0, side, 0, x, y, False)

    # --- copper
    def pad_polygon(self, p, grow=0.0):
        w, h = p["w"] / 2 + grow, p["h"] / 2 + grow
        return np.array([(p["x"] + a * w, p["y"] + b * h) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))])

    def draw_pad(self, plane, p, value, scale, grow=0.0):
        w, h = p["w"] + 2 * grow, p["h"] + 2 * grow
        to = lambda x, y: (int(round((x * scale - 0.5) * (1 << SHIFT))), int(round((y * scale - 0.5) * (1 << SHIFT))))
        shape = p["shape"]
        if shape == "circle" or (shape == "oval" and abs(w - h) < 0.02):
            cv2.circle(plane, to(p["x"], p["y"]), int(max(w, h) / 2 * scale * (1 << SHIFT)), value, -1, cv2.LINE_8, SHIFT)
        elif shape == "oval" or shape == "roundrect":
            rr = min(w, h) / 2 if shape == "oval" else min(w, h) * 0.25
            ax, ay = w / 2 - rr, h / 2 - rr
            for a in (-1, 1):
                for b in (-1, 1):
                    cv2.circle(plane, to(p["x"] + a * ax, p["y"] + b * ay), int(rr * scale * (1 << SHIFT)), value, -1, cv2.LINE_8, SHIFT)
            for a, b in ((w / 2, ay), (ax, h / 2)):
                if a > 1e-6 and b > 1e-6:
                    q = np.array([to(p["x"] + s * a, p["y"] + t * b) for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))], np.int32)
                    cv2.fillConvexPoly(plane, q, value, cv2.LINE_8, SHIFT)
        else:
            q = np.array([to(*c) for c in self.pad_polygon(p, grow)], np.int32)
            cv2.fillConvexPoly(plane, q, value, cv2.LINE_8, SHIFT)

    def draw_track(self, plane, points, width, value, scale):
        q = np.array([[(x * scale - 0.5), (y * scale - 0.5)] for x, y in points])
        hw = width * scale / 2
        unit = 1 << SHIFT
        for a, b in zip(q[:-1], q[1:]):
            d = b - a
            n = np.hypot(*d)
            if n > 1e-6:
                o = np.array([-d[1], d[0]]) / n * hw
                cv2.fillConvexPoly(plane, np.round(np.array([a + o, b + o, b - o, a - o]) * unit).astype(np.int32), value, cv2.LINE_8, SHIFT)
        for a in q:
            cv2.circle(plane, (int(a[0] * unit), int(a[1] * unit)), int(hw * unit), value, -1, cv2.LINE_8, SHIFT)

    def fits(self, side, points, width, net):
        m = width / 2 + self.clear
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        if min(xs) < 0.5 or min(ys) < 0.5 or max(xs) > self.w - 0.5 or max(ys) > self.h - 0.5:
            return False
        x0, y0 = max(0, int((min(xs) - m) * PX)), max(0, int((min(ys) - m) * PX))
        x1, y1 = int((max(xs) + m) * PX) + 2, int((max(ys) + m) * PX) + 2
        area = self.occ[side][y0:y1, x0:x1]
        near = area[(area != 0) & (area != net)]
        if near.size == 0:
            return True
        mask = np.zeros(area.shape, np.uint8)
        self.draw_track(mask, [(x - x0 / PX, y - y0 / PX) for x, y in points], width + 2 * self.clear, 1, PX)
        return not ((area != 0) & (area != net) & (mask > 0)).any()

    def ways(self, a, b):
        (x0, y0), (x1, y1) = a, b
        dx, dy = x1 - x0, y1 - y0
        m = min(abs(dx), abs(dy))
        sx, sy = math.copysign(1, dx), math.copysign(1, dy)
        out = [[a, (x0 + sx * m, y0 + sy * m), b], [a, (x1 - sx * m, y1 - sy * m), b]]
        for _ in range(6):
            # leave straight, one diagonal in the middle
            t = self.r.uniform(0, 1)
            if abs(dx) > abs(dy):
                k = x0 + sx * t * (abs(dx) - m)
                out.append([a, (k, y0), (k + sx * m, y1), b])
            else:
                k = y0 + sy * t * (abs(dy) - m)
                out.append([a, (x0, k), (x1, k + sy * m), b])
        for _ in range(8):  # round something: a jog to the side
            o = self.r.uniform(-6, 6)
            if abs(dx) > abs(dy):
                y = y0 + o
                e0, e1 = abs(y - y0), abs(y - y1)
                if e0 + e1 < abs(dx):
                    out.append([a, (x0 + sx * e0, y), (x1 - sx * e1, y), b])
            else:
                x = x0 + o
                e0, e1 = abs(x - x0), abs(x - x1)
                if e0 + e1 < abs(dy):
                    out.append([a, (x, y0 + sy * e0), (x, y1 - sy * e1), b])
        return out

    def lay(self, side, points, width, net):
        self.tracks.append((side, net, width, points))
        self.draw_track(self.occ[side], points, width, int(net), PX)

    def connect(self, i, j, width):
        p, q = self.pads[i], self.pads[j]
        net = p["net"]
        a, b = (p["x"], p["y"]), (q["x"], q["y"])
        sides = [s for s in self.r.permutation(2) if p["side"] in (2, s) and q["side"] in (2, s)]
        ways = self.ways(a, b)
        for s in sides:
            for w in ways:
                if self.fits(s, w, width, net):
                    self.lay(s, w, width, net)
                    return True
        for _ in range(5):  # one via somewhere between
            t = self.r.uniform(0.1, 0.9, 2)
            v = (a[0] + (b[0] - a[0]) * t[0] + self.r.normal() * 1.0, a[1] + (b[1] - a[1]) * t[1] + self.r.normal() * 1.0)
            d = self.via[0]
            if not all(self.fits(s, [v, v], d, net) for s in (0, 1)):
                continue
            for s in (0, 1):
                if p["side"] not in (2, s) or q["side"] not in (2, 1 - s):
                    continue
                w1 = next((w for w in self.ways(a, v) if self.fits(s, w, width, net)), None)
                if w1 is None:
                    continue
                w2 = next((w for w in self.ways(v, b) if self.fits(1 - s, w, width, net)), None)
                if w2 is None:
                    continue
                self.lay(s, w1, width, net)
                self.lay(1 - s, w2, width, net)
                self.add_via(v, net)
                return True
        return False

    def add_via(self, v, net):
        self.vias.append((v, net))
        for s in (0, 1):
            self.draw_track(self.occ[s], [v, v], self.via[0], int(net), PX)

    def route(self):
        r = self.r
        n = len(self.pads)
        at = np.array([(p["x"], p["y"]) for p in self.pads])
        part = np.array([p["part"] for p in self.pads])
        order = r.permutation(n)
        ground = r.uniform(0.1, 0.45)
        net = 2
        for i in order:
            if self.pads[i]["net"]:
                continue
            if r.random() < ground:
                self.pads[i]["net"] = 1
                continue
            d = np.hypot(*(at - at[i]).T) + r.exponential(4, n)
            d[part == part[i]] += 12
            free = [j for j in np.argsort(d)[:12] if not self.pads[j]["net"] and j != i]
            k = int(r.choice([0, 1, 1, 1, 2, 2, 3, 5]))
            for j in [i] + free[:k]:
                self.pads[j]["net"] = net
            net += 1
        for i, p in enumerate(self.pads):
            for s in (0, 1):
                if p["side"] in (2, s):
                    self.draw_pad(self.occ[s], p, int(p["net"]), PX)
        groups = {}
        for i, p in enumerate(self.pads):
            groups.setdefault(p["net"], []).append(i)
        edges = []
        for k, g in groups.items():
            inside, outside = [g[0]], g[1:]
            while outside:
                d = [(np.hypot(*(at[a] - at[b])), a, b) for a in inside[-12:] for b in outside]
                _, a, b = min(d)
                inside.append(b)
                outside.remove(b)
                edges.append((np.hypot(*(at[a] - at[b])) + r.exponential(5), a, b, k))
        edges.sort()
        net = self.bundles(int(r.integers(0, 10)), net) if r.random() < 0.7 else net
        power = set(r.choice(range(1, net), size=min(net - 1, int(r.integers(1, 6))), replace=False))
        for _, a, b, k in edges:
            width = self.signal * (r.uniform(1.5, 6) if k in power else 1)
            if not self.connect(a, b, width) and width > self.signal:
                self.connect(a, b, self.signal)
        for _ in range(int(r.integers(0, 25))):  # stitching and stray vias
            v = (r.uniform(2, self.w - 2), r.uniform(2, self.h - 2))
            if all(self.fits(s, [v, v], self.via[0], 1) for s in (0, 1)):
                self.add_via(v, 1)
        self.bundles(int(r.integers(0, 12)), net + 1)

    def bundles(self, count, net):
        """Buses: tracks side by side along one bent line, wherever there is room."""
        r = self.r
        for _ in range(count):
            pitch = self.signal + self.clear * r.choice([1.02, 1.1, 1.5, 2.5])
            p = np.array([r.uniform(1, self.w - 1), r.uniform(1, self.h - 1)])
            a = int(r.integers(8))
            line = [p]
            for _ in range(int(r.integers(1, 6))):
                d = np.array([math.cos(a * math.pi / 4), math.sin(a * math.pi / 4)])
                line.append(line[-1] + d * r.uniform(1.5, 18))
                a += int(r.choice([-1, 1]))
            k = int(r.integers(2, 17))
            side = int(r.integers(2))
            for i in range(k):
                o = (i - (k - 1) / 2) * pitch
                q = []
                for j, v in enumerate(line):
                    before = line[j] - line[j - 1] if j else line[1] - line[0]
                    after = line[j + 1] - line[j] if j + 1 < len(line) else before
                    n0 = np.array([-before[1], before[0]]) / np.hypot(*before)
                    n1 = np.array([-after[1], after[0]]) / np.hypot(*after)
                    m = (n0 + n1) / (1 + n0 @ n1)
                    q.append(tuple(v + m * o))
                q[0] = tuple(np.array(q[0]) + (line[1] - line[0]) / np.hypot(*(line[1] - line[0])) * r.uniform(-2, 2))
                cut = q
                while len(cut) > 1 and not self.fits(side, cut, self.signal, net):
                    cut = cut[:-1]
                if len(cut) > 1:
                    self.lay(side, cut, self.signal, net)
                    for end in (cut[0], cut[-1]):
                        if r.random() < 0.5 and all(self.fits(s, [end, end], self.via[0], net) for s in (0, 1)):
                            self.add_via(end, net)
                net += 1
        return net

    def copper(self, side):
        r = self.r
        scale = PX * FINE
        shape = (self.size[0] * FINE, self.size[1] * FINE)
        own = np.zeros(shape, np.uint8)
        pour_net = int(r.choice([1, 1, 2, 3]))
        poured = r.random() < 0.55
        other = np.zeros(shape, np.uint8)
        for s, net, width, pts in self.tracks:
            if s == side:
                self.draw_track(own, pts, width, 255, scale)
                if poured and net != pour_net:
                    self.draw_track(other, pts, width, 255, scale)
        relieved = np.zeros(shape, np.uint8)
        spokes = np.zeros(shape, np.uint8)
        zc, style, sw = r.uniform(0.18, 0.6), r.choice(["spokes", "spokes", "solid"]), r.uniform(0.22, 0.7)
        for p in self.pads:
            if p["side"] not in (2, side):
                continue
            self.draw_pad(own, p, 255, scale)
            if not poured:
                continue
            if p["net"] != pour_net:
                self.draw_pad(other, p, 255, scale)
            elif style == "spokes":
                self.draw_pad(relieved, p, 255, scale, zc)
                a0 = r.choice([0, math.pi / 4]) if r.random() < 0.2 else 0
                for k in range(4):
                    if r.random() < 0.93:
                        a = a0 + k * math.pi / 2
                        reach = max(p["w"], p["h"]) / 2 + zc + 0.2
                        self.draw_track(spokes, [(p["x"], p["y"]), (p["x"] + reach * math.cos(a), p["y"] + reach * math.sin(a))], min(sw, 0.8 * min(p["w"], p["h"])), 255, scale)
        for v, net in self.vias:
            self.draw_track(own, [v, v], self.via[0], 255, scale)
            if poured and net != pour_net:
                self.draw_track(other, [v, v], self.via[0], 255, scale)
        if poured:
            zone = np.zeros(shape, np.uint8)
            m = r.uniform(0.3, 1.2)
            box = [m, m, self.w - m, self.h - m]
            if r.random() < 0.25:
                k = int(r.integers(4))
                box[k] = r.uniform(0.3, 0.7) * (self.w, self.h)[k % 2]
            cv2.rectangle(zone, (int(box[0] * scale), int(box[1] * scale)), (int(box[2] * scale), int(box[3] * scale)), 255, -1)
            away = cv2.distanceTransform(255 - other, cv2.DIST_L2, 3)
            zone[away < zc * scale] = 0
            zone[relieved > 0] = 0
            k = max(1, int(r.uniform(0.1, 0.25) * scale / 2))
            ball = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
            zone = cv2.morphologyEx(zone, cv2.MORPH_OPEN, ball)
            spokes[away < zc * scale] = 0
            if r.random() < 0.08:  # hatched
                yy, xx = np.mgrid[0:shape[0], 0:shape[1]]
                pitch, line = r.uniform(0.8, 2) * scale, r.uniform(0.25, 0.5) * scale
                zone[(((xx + yy) % pitch) > line) & (((xx - yy) % pitch) > line)] = 0
            zone |= spokes & (cv2.dilate(zone, ball) | relieved)
            if r.random() < 0.8:
                n, labels, stats, _ = cv2.connectedComponentsWithStats(zone, connectivity=4)
                small = stats[:, cv2.CC_STAT_AREA] < r.uniform(0.5, 6) * scale * scale
                zone[small[labels]] = 0
            own |= zone
        return own

    def down(self, plane):
        return cv2.resize(plane, (self.size[1], self.size[0]), interpolation=cv2.INTER_AREA)

    def planes(self):
        r = self.r
        scale = PX * FINE
        shape = (self.size[0] * FINE, self.size[1] * FINE)
        copper = [self.down(self.copper(s)) for s in (0, 1)]
        grow = r.uniform(0.0, 0.12)
        tent = r.random() < 0.75
        hole = np.zeros(shape, np.uint8)
        dimple = np.zeros(shape, np.uint8)
        via = np.zeros(shape, np.uint8)
        for p in self.pads:
            if p["drill"]:
                self.draw_track(hole, [(p["x"], p["y"])] * 2, p["drill"], 255, scale)
        for v, _ in self.vias:
            self.draw_track(via, [v, v], self.via[0], 255, scale)
            self.draw_track(dimple, [v, v], self.via[1], 255, scale)
        out = []
        for s in (0, 1):
            pad, opened = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
            for p in self.pads:
                if p["side"] in (2, s):
                    self.draw_pad(pad, p, 255, scale)
                    self.draw_pad(opened, p, 255, scale, grow)
            if not tent:
                for v, _ in self.vias:
                    self.draw_track(opened, [v, v], self.via[0] + grow, 255, scale)
            if r.random() < 0.08:
                for ts, _, width, pts in self.tracks:
                    if ts == s and r.random() < 0.3:
                        self.draw_track(opened, pts, width + grow, 255, scale)
            silk = self.draw_silk(s, shape, scale)
            part, tall = self.draw_bodies(s)
            board = np.full(self.size, 255, np.uint8)
            out.append(np.stack([copper[s], copper[1 - s], self.down(opened), self.down(silk),
                                 np.maximum(self.down(hole), 0 if tent else self.down(dimple)), self.down(dimple),
                                 self.down(pad), self.down(via), board, part, tall]))
        return out

    def draw_silk(self, side, shape, scale):
        r = self.r
        plane = np.zeros(shape, np.uint8)
        line = r.uniform(0.12, 0.25)
        items = list(self.silk[side])
        if side == 1 and r.random() < 0.5:
            items = []
        for _ in range(int(r.integers(0, 8))):
            words = "".join(r.choice(list("ABCDEFGHIKLMNOPRSTUVWXYZ0123456789 -+./")) for _ in range(int(r.integers(2, 16))))
            items.append(("text", (r.uniform(0, self.w), r.uniform(0, self.h)), words, r.choice([1, 1.3, 2, 3, 5]), int(r.integers(2))))
        if r.random() < 0.1:
            x, y = r.uniform(0, self.w), r.uniform(0, self.h)
            items.append(("fill", (x, y, x + r.uniform(3, 20), y + r.uniform(2, 10))))
        for it in items:
            if it[0] == "poly":
                q = [(x, y) for x, y in it[1]]
                if it[2]:
                    xs, ys = [p[0] for p in q], [p[1] for p in q]
                    cx, cy = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
                    a = np.linspace(0, 2 * math.pi, 40)
                    q = list(zip(cx + (max(xs) - cx) * np.cos(a), cy + (max(ys) - cy) * np.sin(a)))
                else:
                    q = q + [q[0]]
                self.draw_track(plane, q, line, 255, scale)
            elif it[0] == "text":
                size = it[3] * scale / 22
                thick = max(1, int(it[3] * r.uniform(0.1, 0.2) * scale))
                font = int(r.choice([cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_PLAIN, cv2.FONT_HERSHEY_DUPLEX]))
                if font == cv2.FONT_HERSHEY_PLAIN:
                    size *= 1.8
                (tw, hh), base = cv2.getTextSize(it[2], font, size, thick)
                tile = np.zeros((hh + base + 2 * thick, tw + 2 * thick), np.uint8)
                cv2.putText(tile, it[2], (thick, hh + thick), font, size, 255, thick, cv2.LINE_AA)
                if it[4]:
                    tile = np.rot90(tile)
                x, y = int(it[1][0] * scale), int(it[1][1] * scale)
                y1, x1 = min(shape[0], y + tile.shape[0]), min(shape[1], x + tile.shape[1])
                if x >= 0 and y >= 0 and y1 > y and x1 > x:
                    np.maximum(plane[y:y1, x:x1], tile[:y1 - y, :x1 - x], out=plane[y:y1, x:x1])
            else:
                x0, y0, x1, y1 = [int(v * scale) for v in it[1]]
                cv2.rectangle(plane, (x0, y0), (x1, y1), 255, -1)
        return plane

    def draw_bodies(self, side):
        part, tall = np.zeros(self.size, np.uint8), np.zeros(self.size, np.uint8)
        for b in self.bodies:
            if b["side"] != side or b["kind"] == "none" or self.r.random() < 0.06:
                continue
            level = lambda mm: int(min(255, max(1, mm * 255 / 25)))
            for q, hh in b["leads"]:
                q = np.round(np.array(q) * PX * 16 - 8).astype(np.int32)
                cv2.fillConvexPoly(part, q, 1, cv2.LINE_8, 4)
                cv2.fillConvexPoly(tall, q, level(hh), cv2.LINE_8, 4)
            q = np.array(b["poly"])
            c, lo, hi = q.mean(0), q.min(0), q.max(0)
            half = (hi - lo) / 2
            y0, y1 = max(0, int(lo[1] * PX)), min(self.size[0], int(hi[1] * PX) + 1)
            x0, x1 = max(0, int(lo[0] * PX)), min(self.size[1], int(hi[0] * PX) + 1)
            yy, xx = np.mgrid[y0:y1, x0:x1]
            u, v = ((xx + 0.5) / PX - c[0]) / half[0], ((yy + 0.5) / PX - c[1]) / half[1]
            if b["kind"] == "round":
                inside = u * u + v * v < 1
                hgt = np.full(u.shape, float(level(b["height"])))
            elif b["kind"] == "roll":
                inside = (abs(u) < 1) & (abs(v) < 1)
                across = v if half[0] > half[1] else u
                hgt = level(b["height"]) * (0.4 + 0.6 * np.sqrt(np.clip(1 - across ** 2, 0, 1)))
            else:
                inside = (abs(u) < 1) & (abs(v) < 1)
                hgt = np.full(u.shape, float(level(b["height"])))
            window = tall[y0:y1, x0:x1]
            lead = (part[y0:y1, x0:x1] == 1) & (window >= hgt)
            inside &= ~lead
            part[y0:y1, x0:x1][inside] = b["id"]
            window[inside] = np.maximum(1, hgt[inside]).astype(np.uint8)
        return part, tall


def make(seed):
    cv2.setNumThreads(1)
    b = Board(seed)
    target = b.r.uniform(0.35, 1.4) * b.w * b.h / (14 if b.smd > 0.4 else 32)
    for _ in range(int(target * 8)):
        b.place()
        if len(b.bodies) > target:
            break
    b.route()
    return b.planes()


if __name__ == "__main__":
    import time
    for seed in range(int(sys.argv[1]), int(sys.argv[2])):
        t = time.time()
        sides = make(seed)
        np.save(f"{sys.argv[3]}/board{seed}.npy", np.stack(sides))
        print(seed, sides[0].shape, "%.1f s" % (time.time() - t), flush=True)
