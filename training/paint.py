"""Photographs painted from layout layers, on the GPU, a different picture each time.

Everything a camera, a lamp, a mask, print, parts and age do to a board is drawn at random and far wider than
any one board shows, so that what the model learns is the copper and not one way of picturing it.
Layers are (B, 1, H, W) floats, 0..1 coverage at 16 px/mm; a picture is (B, 3, H, W), 0..1, order B, G, R.
"""
import math

import torch
from torch.nn import functional as F

# Typical colours, R G B out of 255; each picture strays from its entry.
MASKS = [(30, 110, 55), (14, 78, 46), (34, 128, 70), (22, 66, 155), (18, 48, 110), (40, 95, 190), (150, 32, 34),
         (26, 26, 28), (45, 45, 44), (58, 28, 80), (38, 20, 48), (212, 212, 206), (186, 158, 44), (122, 124, 46),
         (20, 92, 88), (90, 110, 50)]
BARE = [(192, 152, 98), (172, 162, 112), (122, 82, 52), (206, 182, 130), (150, 112, 66), (196, 192, 160)]
METALS = [(202, 202, 198), (170, 170, 168), (216, 178, 84), (226, 192, 110), (202, 122, 84), (150, 96, 62), (140, 140, 136)]
PRINTS = [(235, 236, 230), (222, 224, 214), (236, 214, 70), (30, 30, 32), (180, 200, 215)]
BODIES = [(32, 32, 34)] * 8 + [(52, 52, 54)] * 3 + [(20, 20, 22)] * 2 + \
         [(214, 186, 140), (190, 140, 90), (200, 160, 60), (235, 160, 40), (50, 70, 150), (30, 100, 190), (70, 40, 90),
          (110, 60, 35), (200, 200, 200), (170, 172, 176), (235, 232, 220), (60, 140, 80), (180, 40, 40), (205, 150, 95),
          (120, 200, 220), (225, 205, 60)]


def uniform(b, lo, hi, device, shape=(1, 1, 1)):
    return torch.rand(b, *shape, device=device) * (hi - lo) + lo


def coin(b, p, device, shape=(1, 1, 1)):
    return (torch.rand(b, *shape, device=device) < p).float()


def pick(table, b, device, jitter=0.18):
    """Colours (b, 3, 1, 1) in B, G, R, strayed in shade and hue."""
    t = torch.tensor(table, device=device).float() / 255
    c = t[torch.randint(len(table), (b,), device=device)].flip(1).view(b, 3, 1, 1)
    c = c * torch.exp(torch.randn(b, 1, 1, 1, device=device) * jitter) * torch.exp(torch.randn(b, 3, 1, 1, device=device) * jitter * 0.5)
    return (c + torch.randn(b, 3, 1, 1, device=device) * 0.015).clamp(0.01, 0.97)


def kernel(sigma, device):
    r = max(1, int(math.ceil(2.6 * sigma)))
    x = torch.arange(-r, r + 1, device=device).float()
    k = torch.exp(-0.5 * (x / sigma) ** 2)
    return k / k.sum()


def blur(x, sigma):
    if sigma < 0.2:
        return x
    if sigma > 5:  # wide: on a coarser grid
        small = F.interpolate(x, scale_factor=0.25, mode="area")
        return F.interpolate(blur(small, sigma / 4), size=x.shape[-2:], mode="bilinear", align_corners=False)
    k = kernel(sigma, x.device)
    r = len(k) // 2
    b, c, h, w = x.shape
    n = b * c
    y = F.pad(x.reshape(1, n, h, w), (r, r, r, r), mode="replicate")
    y = F.conv2d(y, k.view(1, 1, 1, -1).expand(n, 1, 1, -1), groups=n)
    return F.conv2d(y, k.view(1, 1, -1, 1).expand(n, 1, -1, 1), groups=n).view(b, c, h, w)


def cloud(b, c, h, w, cell, device):
    """Smooth noise of about unit strength; `cell` pixels across one lump."""
    n, m = max(2, int(h / cell) + 2), max(2, int(w / cell) + 2)
    z = torch.randn(b, c, n, m, device=device)
    return F.interpolate(z, size=(h, w), mode="bicubic", align_corners=False)


def slope(x):
    gx = F.pad(x[..., 2:] - x[..., :-2], (1, 1, 0, 0), mode="replicate") * 0.5
    gy = F.pad(x[..., 2:, :] - x[..., :-2, :], (0, 0, 1, 1), mode="replicate") * 0.5
    return gx, gy


def shifted(x, dx, dy, mode="bilinear"):
    """x sampled at (column + dx, row + dy); dx, dy (B, 1, 1, 1) in pixels."""
    b, _, h, w = x.shape
    device = x.device
    xs = torch.arange(w, device=device).view(1, 1, w) + dx.view(b, 1, 1)
    ys = torch.arange(h, device=device).view(1, h, 1) + dy.view(b, 1, 1)
    grid = torch.stack([((xs + 0.5) * 2 / w - 1).expand(b, h, w), ((ys + 0.5) * 2 / h - 1).expand(b, h, w)], -1)
    return F.grid_sample(x, grid, mode=mode, padding_mode="zeros", align_corners=False)


def strokes(b, h, w, count, device, width=(0.6, 1.6)):
    """Random straight scratches, (b, 1, h, w) 0..1."""
    ys = torch.arange(h, device=device).view(1, 1, h, 1).float()
    xs = torch.arange(w, device=device).view(1, 1, 1, w).float()
    out = torch.zeros(b, 1, h, w, device=device)
    for _ in range(count):
        x0, y0 = uniform(b, 0, w, device), uniform(b, 0, h, device)
        a, n = uniform(b, 0, 2 * math.pi, device), uniform(b, 10, 200, device)
        dx, dy = torch.cos(a), torch.sin(a)
        t = ((xs - x0) * dx + (ys - y0) * dy).clamp(min=0)
        t = torch.minimum(t, n)
        d = torch.sqrt((xs - x0 - t * dx) ** 2 + (ys - y0 - t * dy) ** 2)
        out = torch.maximum(out, (1.2 - d / uniform(b, *width, device)).clamp(0, 1))
    return out


def mix(below, above, alpha):
    return below + (above - below) * alpha


def grey(x):
    return 0.114 * x[:, 0:1] + 0.587 * x[:, 1:2] + 0.299 * x[:, 2:3]


def flat_board(L, bare_board, ease):
    """The board without parts. Returns the picture, print alpha, relief shading and the tone of covered copper."""
    c, back, opened, hole, via = L["copper"], L["back"], L["open"], L["hole"], L["via"]
    b, _, h, w = c.shape
    dev = c.device
    rnd = lambda lo, hi: uniform(b, lo, hi, dev)

    substrate = torch.where(bare_board > 0, pick(BARE, b, dev), pick(MASKS, b, dev))
    # How much lighter or darker copper looks under the mask, from invisible to strong.
    strength = torch.exp(rnd(math.log(3.5 + 10 * ease), math.log(36.0))) / 255
    strength = strength * (1 - coin(b, 0.04, dev)) * (0.5 + 0.5 * (grey(substrate) / 0.35).clamp(0.2, 1.4))
    # Under most masks covered copper is the lighter; under some, and on aged boards, the darker.
    sign = torch.where(torch.rand(b, 1, 1, 1, device=dev) < 0.84, 1.0, -1.0)
    own = substrate / grey(substrate).clamp(min=0.03)
    direction = mix(torch.ones_like(own), own, rnd(0, 1.2)) * torch.exp(torch.randn(b, 3, 1, 1, device=dev) * 0.25)
    warm = torch.tensor([0.4, 0.8, 1.5], device=dev).view(1, 3, 1, 1)
    direction = torch.where(coin(b, 0.25, dev) > 0, direction * warm, direction)
    direction = direction / grey(direction)
    covered = substrate + sign * strength * direction
    metal = pick(METALS, b, dev, 0.12)
    covered = torch.where(bare_board > 0, pick([(188, 112, 72), (150, 90, 60), (112, 72, 50), (196, 196, 192), (206, 134, 92)], b, dev, 0.15), covered)
    covered = covered.clamp(0.005, 0.99)
    tone = torch.sign(grey(covered) - grey(substrate)).view(b)

    # Relief: the mask follows the copper's edge; a lamp from the side lights one flank and leaves the other dark.
    s1 = float(torch.empty(1).uniform_(0.55, 2.0))
    s2 = float(torch.empty(1).uniform_(2.0, 5.0))
    soft = blur(c, s1)
    height = soft - L["dimple"] * rnd(0.0, 1.2)
    height = blur(height, 0.6)
    gx, gy = slope(height)
    angle = rnd(0, 2 * math.pi)
    facing = (gx * torch.cos(angle) + gy * torch.sin(angle)) * (s1 + 0.6) * 2.5
    relief = torch.exp(rnd(math.log(0.05), math.log(0.55))) * facing * coin(b, 0.93, dev)
    halo = (blur(c, s2) - soft) * rnd(-0.22, 0.22)
    band = 4 * soft * (1 - soft) * rnd(-0.14, 0.14) * coin(b, 0.7, dev)

    sharp = blur(c, float(torch.empty(1).uniform_(0.0, 1.0)))
    patchy = 1 + cloud(b, 1, h, w, 90, dev) * rnd(0, 0.05)
    picture = mix(substrate, covered, sharp * (1 + cloud(b, 1, h, w, 120, dev) * rnd(0, 0.15)).clamp(0.3, 1.6))
    picture = picture + blur(back, float(torch.empty(1).uniform_(1.5, 6))) * (1 - soft * rnd(0.3, 1)) * rnd(-9, 9) / 255
    # weave of the glass, seen mostly where there is no copper
    period = float(torch.empty(1).uniform_(5, 11))
    xs = torch.arange(w, device=dev).view(1, 1, 1, w) * (2 * math.pi / period)
    ys = torch.arange(h, device=dev).view(1, 1, h, 1) * (2 * math.pi / (period * 1.1))
    picture = picture + (torch.sin(xs) + torch.sin(ys)) * (1 - 0.7 * soft) * rnd(0, 2.5) / 255 * coin(b, 0.4, dev)
    light = relief + halo + band
    picture = picture * patchy * (1 + light).clamp(0.25, 2.5)
    picture = picture + (facing.clamp(min=0) ** 1.5) * rnd(0, 0.16) * coin(b, 0.5, dev)
    grain = torch.randn(b, 1, h, w, device=dev)
    picture = picture + blur(grain, 0.8) * rnd(0, 5) / 255

    # Where the mask is open: metal on copper, bare laminate in the ring round it.
    open_all = torch.maximum(opened, bare_board * coin(b, 0.35, dev))
    finish = pick(METALS, b, dev, 0.12)
    rough = 1 + cloud(b, 1, h, w, 5, dev) * rnd(0, 0.12) + cloud(b, 1, h, w, 25, dev) * rnd(0, 0.15)
    pad_soft = blur(opened * c, float(torch.empty(1).uniform_(1.2, 3.0)))
    px, py = slope(pad_soft)
    dome = (px * torch.cos(angle) + py * torch.sin(angle)) * rnd(-2.5, 6)
    finish_picture = finish * (rough + dome).clamp(0.3, 1.8)
    # finish of tracks on boards that have no mask: tinned now and then
    laminate = mix(substrate * rnd(0.6, 1.2), pick(BARE, b, dev), rnd(0, 0.8))
    picture = mix(picture, mix(laminate, finish_picture, c.clamp(0, 1)), open_all * (1 - bare_board) + opened * bare_board)
    # Holes.
    inside = pick([(18, 18, 20), (40, 36, 34), (12, 12, 12), (120, 110, 100), (70, 60, 50)], b, dev, 0.3)
    open_hole = hole * torch.maximum(opened, L["board"] * 0 + bare_board)
    picture = mix(picture, inside.expand_as(picture), open_hole)
    tented = hole * via * 0 + L["dimple"] * (1 - opened)
    picture = picture * (1 - tented * rnd(0, 0.75))

    # Print, over everything but pads.
    ink = torch.where(grey(substrate) > 0.6, pick([(30, 30, 32), (40, 40, 120)], b, dev), pick(PRINTS, b, dev, 0.08))
    silk = L["silk"] * (1 - opened * rnd(0.7, 1)) * rnd(0.75, 1)
    picture = mix(picture, ink * (1 + 0.5 * relief + cloud(b, 1, h, w, 6, dev) * rnd(0, 0.06)), silk)
    return picture.clamp(0, 1), silk, facing, tone, metal


def fit_parts(picture, L, facing, metal):
    """Solder, leads and bodies with their lean, print and shadow. Returns the picture and what is hidden."""
    b, _, h, w = picture.shape
    dev = picture.device
    rnd = lambda lo, hi: uniform(b, lo, hi, dev)
    opened, hole = L["open"], L["hole"]
    # solder on a good share of the pads, none or little on the others
    few = F.interpolate(torch.rand(b, 1, h // 40 + 1, w // 40 + 1, device=dev), size=(h, w), mode="nearest")
    soldered = (few < rnd(0.5, 1.2)).float()
    lump = blur(L["pad"] * opened, float(torch.empty(1).uniform_(2.0, 4.5)))
    lx, ly = slope(lump)
    a = rnd(0, 2 * math.pi)
    lit = (lx * torch.cos(a) + ly * torch.sin(a)) * rnd(3, 10)
    bright = pick([(190, 190, 188), (150, 150, 150), (120, 120, 122), (205, 205, 200)], b, dev, 0.15)
    tin = bright * (0.75 + 0.4 * lump + lit + cloud(b, 1, h, w, 7, dev) * rnd(0, 0.15)).clamp(0.15, 1.9)
    cover = torch.maximum(L["pad"] * opened * L["copper"], hole * opened) * soldered
    picture = mix(picture, tin, cover)
    lead = pick([(215, 215, 210), (120, 120, 120), (230, 200, 110), (240, 240, 240)], b, dev)
    core = (blur(hole, 1.5) * 1.6 - 0.75).clamp(0, 1) * soldered * coin(b, 0.8, dev)
    picture = mix(picture, lead * (1 + lit * 0.5).clamp(0.4, 1.4), core)

    ident, tall = L["part"], L["tall"]  # part number (0 none, 1 metal), height in mm / 25
    lean_x, lean_y = torch.randn(b, 1, 1, 1, device=dev), torch.randn(b, 1, 1, 1, device=dev)
    lean = rnd(0, 0.16) * 16 * 25  # px of lean at full height
    lamp = rnd(0, 2 * math.pi)
    cast = rnd(0.1, 1.2) * 16 * 25
    coarse = F.max_pool2d(tall, 2)
    dark = torch.zeros_like(coarse)
    for step in (0.01, 0.03, 0.06, 0.1, 0.16, 0.25, 0.4, 0.6, 0.8):
        there = shifted(coarse, torch.cos(lamp) * cast * step / 2, torch.sin(lamp) * cast * step / 2)
        dark = torch.maximum(dark, (there >= step).float())
    dark = F.interpolate(blur(dark, float(torch.empty(1).uniform_(0.5, 4.5))), size=(h, w), mode="bilinear", align_corners=False)
    picture = picture * (1 - dark * rnd(0.1, 0.75))

    palette = pick(BODIES, 256 * b, dev).view(b, 256, 3)
    palette[:, 1] = pick(METALS, b, dev).view(b, 3)
    number = torch.zeros(b, 1, h, w, device=dev)
    surface = torch.zeros(b, 1, h, w, device=dev)
    face = torch.ones(b, 1, h, w, device=dev)
    stack = torch.cat([ident, tall, blur(tall, 1.2)], 1)
    for step in (0.002, 0.02, 0.04, 0.07, 0.11, 0.16, 0.22, 0.3, 0.4, 0.5, 0.65, 0.8):
        dx, dy = lean_x * lean * step, lean_y * lean * step
        moved = shifted(stack, dx, dy, "nearest")
        here = (moved[:, 1:2] >= step) & (moved[:, 0:1] > 0)
        number = torch.where(here, moved[:, 0:1], number)
        surface = torch.where(here, moved[:, 2:3], surface)
        face = torch.where(here, ((moved[:, 1:2] - step) < 0.05 + 0.2 * step).float(), face)
    seen = (number > 0).float()
    index = number.long().clamp(0, 255).view(b, -1, 1).expand(-1, -1, 3)
    body = torch.gather(palette, 1, index).view(b, h, w, 3).permute(0, 3, 1, 2) * (0.55 + 0.45 * face)
    sx, sy = slope(surface)
    shade = 1 + (sx * torch.cos(lamp) + sy * torch.sin(lamp)) * rnd(0, 12) + cloud(b, 1, h, w, 4, dev) * rnd(0, 0.06)
    marks = torch.roll(L["silk"], 1, 0) * (1 - blur(1 - seen, 2.5).clamp(0, 1) * 3).clamp(0, 1)
    body = body * shade.clamp(0.3, 2.2)
    body = mix(body, pick(PRINTS, b, dev), marks * rnd(0.1, 0.9) * coin(b, 0.7, dev))
    edge = blur(seen, 0.6)
    picture = mix(picture, body, edge)
    return picture.clamp(0, 1), seen


def light_up(picture, poor):
    """Lamp, uneven light, colour balance, glare, hard shadows, dirt."""
    b, _, h, w = picture.shape
    dev = picture.device
    rnd = lambda lo, hi: uniform(b, lo, hi, dev)
    # dirt
    stain = (cloud(b, 1, h, w, float(torch.empty(1).uniform_(20, 150)), dev) - rnd(0.6, 2)).clamp(0, 1) * coin(b, 0.35, dev)
    picture = picture * (1 - stain * uniform(b, -0.15, 0.45, dev, (3, 1, 1)))
    picture = picture + strokes(b, h, w, 4, dev) * rnd(-0.12, 0.14) * coin(b, 0.35, dev)
    dust = blur((torch.rand(b, 1, h, w, device=dev) > 0.99985).float(), 1.0) * 5
    picture = mix(picture, torch.full_like(picture, 0.7), (dust * rnd(0, 1)).clamp(0, 1) * coin(b, 0.4, dev))
    # light
    uneven = torch.exp(cloud(b, 1, h, w, 400, dev) * rnd(0, 0.22) * (1 + poor))
    xs = torch.linspace(-1, 1, w, device=dev).view(1, 1, 1, w)
    ys = torch.linspace(-1, 1, h, device=dev).view(1, 1, h, 1)
    tilt = torch.exp(xs * torch.randn(b, 1, 1, 1, device=dev) * 0.18 * (1 + poor) + ys * torch.randn(b, 1, 1, 1, device=dev) * 0.18 * (1 + poor))
    x0, y0, a = rnd(-0.9, 0.9), rnd(-0.9, 0.9), rnd(0, 2 * math.pi)
    edge = ((xs - x0) * torch.cos(a) + (ys - y0) * torch.sin(a)) * torch.exp(rnd(math.log(3), math.log(60)))
    a2 = a + rnd(0.6, 2.4)
    edge2 = ((xs - x0) * torch.cos(a2) + (ys - y0) * torch.sin(a2)) * 20
    hard = torch.sigmoid(edge) * torch.sigmoid(edge2)
    hard = 1 - hard * rnd(0.15, 0.65) * coin(b, 0.1, dev).maximum(poor * coin(b, 0.4, dev))
    balance = torch.exp(torch.randn(b, 3, 1, 1, device=dev) * 0.1)
    balance = balance * torch.where(poor > 0, torch.tensor([0.72, 0.92, 1.1], device=dev).view(1, 3, 1, 1), torch.ones(1, 3, 1, 1, device=dev))
    exposure = torch.where(poor > 0, torch.exp(rnd(math.log(0.25), math.log(0.8))), torch.exp(rnd(math.log(0.55), math.log(1.45))))
    picture = picture * uneven * tilt * hard * balance * exposure
    glare = torch.zeros(b, 1, h, w, device=dev)
    for _ in range(2):
        cx, cy, r = rnd(-1.3, 1.3), rnd(-1.3, 1.3), rnd(0.1, 0.9)
        spot = torch.exp(-(((xs - cx) ** 2 + (ys - cy) ** 2 * rnd(0.3, 3)) / r ** 2))
        glare = glare + spot * rnd(0, 0.6) * coin(b, 0.2, dev).maximum(poor * coin(b, 0.5, dev))
    glare = glare * (1 + cloud(b, 1, h, w, 30, dev) * rnd(0, 0.1))
    picture = picture + glare.clamp(min=0) * mix(torch.ones_like(balance), balance, 0.5)
    lift = rnd(0, 0.05)
    picture = (picture + lift).clamp(0, 1) ** torch.exp(torch.randn(b, 1, 1, 1, device=dev) * 0.14)
    blown = (picture.amin(1, keepdim=True) > 0.97).float() * (glare > 0.3).float()
    return picture.clamp(0, 1), blown


def dct_matrix(device):
    n = torch.arange(8, device=device).float()
    m = torch.cos((2 * n.view(1, 8) + 1) * n.view(8, 1) * math.pi / 16) * 0.5
    m[0] *= math.sqrt(0.5)
    return m


# Quantisation steps of ITU-T T.81 Annex K, tables K.1 and K.2.
LUMA = [16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51, 87,
        80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101, 72, 92,
        95, 98, 112, 100, 103, 99]
CHROMA = [17, 18, 24, 47, 99, 99, 99, 99, 18, 21, 26, 66, 99, 99, 99, 99, 24, 26, 56, 99, 99, 99, 99, 99, 47, 66, 99, 99, 99, 99,
          99, 99] + [99] * 32


def blocks(x, table, quality):
    """One plane (B, 1, H, W) on the 0..255 scale through block transform and quantisation."""
    b, _, h, w = x.shape
    ph, pw = (-h) % 8, (-w) % 8
    y = F.pad(x, (0, pw, 0, ph), mode="replicate") - 128
    m = dct_matrix(x.device)
    both = torch.kron(m, m)
    y = y.view(b, (h + ph) // 8, 8, (w + pw) // 8, 8).permute(0, 1, 3, 2, 4).reshape(-1, 64)
    scale = 5000 / quality if quality < 50 else 200 - 2 * quality
    step = (torch.tensor(table, device=x.device).float() * scale / 100).clamp(min=1)
    y = (torch.round((y @ both.T) / step) * step) @ both
    y = y.view(b, (h + ph) // 8, (w + pw) // 8, 8, 8).permute(0, 1, 3, 2, 4).reshape(b, 1, h + ph, w + pw)
    return y[:, :, :h, :w] + 128


def compress(x, quality):
    v = x * 255
    y = grey(v)
    cb, cr = (v[:, 0:1] - y) * 0.564 + 128, (v[:, 2:3] - y) * 0.713 + 128
    h, w = y.shape[-2:]
    half = lambda p: F.interpolate(blocks(F.avg_pool2d(p, 2, ceil_mode=True, count_include_pad=False), CHROMA, quality), size=(h, w), mode="bilinear", align_corners=False) - 128
    y = blocks(y, LUMA, quality)
    cb, cr = half(cb), half(cr)
    out = torch.cat([y + cb / 0.564, y - 0.344 * cb - 0.714 * cr, y + cr / 0.713], 1)
    return (out / 255).clamp(0, 1)


def photograph(picture, poor_batch):
    """Through a camera of random resolution, focus, noise, sharpening and compression, and back to 16 px/mm."""
    b, _, h, w = picture.shape
    dev = picture.device
    r = lambda lo, hi: float(torch.empty(1).uniform_(lo, hi))
    scale = [0.78, 0.85, 1.0, 1.0, 1.3, 1.65, 1.65, 1.9][int(torch.randint(8, (1,)))]
    x = picture
    if scale != 1.0:
        x = F.interpolate(blur(x, 0.45) if scale < 1 else x, scale_factor=scale, mode="bilinear", align_corners=False)
    sigma = r(0.35, 1.1) + (r(0, 1.3) if poor_batch else 0) + (r(0, 0.5) if scale > 1.2 else 0)
    x = blur(x, sigma)
    if r(0, 1) < (0.35 if poor_batch else 0.1):
        dx, dy = r(-1.6, 1.6), r(-1.6, 1.6)
        one = torch.ones(b, 1, 1, 1, device=dev)
        x = (x + shifted(x, one * dx * 0.5, one * dy * 0.5) + shifted(x, one * dx, one * dy)) / 3
    n = r(0.0, 0.014) + (r(0.0, 0.025) if poor_batch else 0)
    noise = torch.randn_like(x) * 0.6 + torch.randn_like(x[:, :1]) * 0.8
    if r(0, 1) < 0.5:
        noise = blur(noise, r(0.4, 1.2)) * 1.8
    x = x + noise * n * (0.5 + x.clamp(0, 1).sqrt())
    if r(0, 1) < 0.3:  # noise removal inside a phone: faint detail goes, strong edges stay
        base = blur(x, r(1.0, 2.2))
        d = x - base
        t = r(0.004, 0.03)
        x = base + torch.sign(d) * (d.abs() - t).clamp(min=0)
    if r(0, 1) < 0.45:
        x = x + (x - blur(x, r(0.8, 2.2))) * r(0.2, 1.8)
    x = x.clamp(0, 1)
    if r(0, 1) < 0.8:
        x = compress(x, r(55, 96))
    if scale != 1.0:
        x = F.interpolate(blur(x, 0.35 * scale) if scale > 1 else x, size=(h, w), mode="bilinear", align_corners=False)
    return torch.round(x.clamp(0, 1) * 255) / 255


def paint(L, ease=0.0):
    """L: copper, back, open, silk, hole, dimple, pad, via, board, part, tall. Returns picture, hidden, tone.
    `ease`, 1 to 0: how much to spare a beginner."""
    c = L["copper"]
    b, _, h, w = c.shape
    dev = c.device
    poor_batch = float(torch.rand(1)) < 0.33 * (1 - ease)
    poor = torch.full((b, 1, 1, 1), float(poor_batch), device=dev)
    L = dict(L)
    # print from elsewhere, so that tracks are crossed by lettering wherever they run
    more = torch.roll(L["silk"], 1, 0).flip(-1) if float(torch.rand(1)) < 0.3 else torch.zeros_like(c)
    logo = (cloud(b, 1, h, w, float(torch.empty(1).uniform_(25, 120)), dev) > uniform(b, 1.0, 2.2, dev)).float() * coin(b, 0.12, dev)
    L["silk"] = torch.maximum(torch.maximum(L["silk"], more), logo) * coin(b, 0.93, dev)
    bare_board = coin(b, 0.08, dev)
    picture, silk, facing, tone, metal = flat_board(L, bare_board, ease)
    hidden = silk
    fitted = coin(b, 0.55, dev)
    with_parts, seen = fit_parts(picture, L, facing, metal)
    picture = mix(picture, with_parts, fitted)
    hidden = torch.maximum(hidden, seen * fitted)
    outside = pick(MASKS + BARE + BODIES, b, dev) * (1 + cloud(b, 1, h, w, 40, dev) * 0.05)
    over = torch.maximum(L["board"], seen * fitted)
    picture = mix(outside, picture, over)
    picture, blown = light_up(picture, poor)
    hidden = torch.maximum(hidden, blown)
    picture = photograph(picture, poor_batch)
    return picture, (hidden > 0.5).float(), tone
