"""The pixel model: a small encoder and decoder with skips, made of what a plain CPU runtime reads.

Input, 8 planes at 16 px/mm: log colour (3), pads, holes, via rings, tone hint, ones inside the board.
Output, 8 planes at 8 px/mm: for each of the four pixels of a 2 x 2 cell (row by row) the copper logit, then
for each the hidden logit. `spread` turns that into two planes at 16 px/mm.
Sides must be multiples of STRIDE.
"""
import torch
from torch import nn
from torch.nn import functional as F

STRIDE = 32
INPUTS = 8


def conv(i, o, k=3, stride=1, dilation=1):
    pad = dilation * (k - 1) // 2 if k % 2 else (k - stride) // 2
    return nn.Sequential(nn.Conv2d(i, o, k, stride, pad, dilation, bias=False), nn.BatchNorm2d(o))


class Block(nn.Module):
    def __init__(self, c, dilation=1):
        super().__init__()
        self.a, self.b = conv(c, c, dilation=dilation), conv(c, c)

    def forward(self, x):
        return F.relu(x + self.b(F.relu(self.a(x))))


class Up(nn.Module):
    """Twice finer, added to what the encoder knew there."""

    def __init__(self, i, o):
        super().__init__()
        self.t = nn.ConvTranspose2d(i, o, 2, 2, bias=True)

    def forward(self, x, skip):
        return F.relu(self.t(x) + skip)


class CopperNet(nn.Module):
    def __init__(self, widths=(32, 48, 80, 112, 128)):
        super().__init__()
        a, b, c, d, e = widths
        self.stem = conv(INPUTS, a, 6, 2)
        self.e0 = conv(a, a)
        self.d1 = conv(a, b, 4, 2)
        self.e1 = Block(b)
        self.d2 = conv(b, c, 4, 2)
        self.e2 = nn.Sequential(Block(c), Block(c))
        self.d3 = conv(c, d, 4, 2)
        self.e3 = nn.Sequential(Block(d), Block(d, 2))
        self.d4 = conv(d, e, 4, 2)
        self.e4 = nn.Sequential(Block(e), Block(e, 2))
        # What holds for the whole picture (how copper looks under this mask, in this light) reaches every pixel.
        self.g1, self.g2 = nn.Conv2d(e, e, 1), nn.Conv2d(e, e, 1)
        self.e5 = nn.Sequential(Block(e, 4), Block(e))
        self.u3, self.f3 = Up(e, d), Block(d)
        self.u2, self.f2 = Up(d, c), Block(c)
        self.u1, self.f1 = Up(c, b), Block(b)
        self.u0, self.f0 = Up(b, a), Block(a)
        self.head = nn.Conv2d(a, 8, 1)

    def forward(self, x):
        x0 = F.relu(self.e0(F.relu(self.stem(x))))
        x1 = self.e1(F.relu(self.d1(x0)))
        x2 = self.e2(F.relu(self.d2(x1)))
        x3 = self.e3(F.relu(self.d3(x2)))
        x4 = self.e4(F.relu(self.d4(x3)))
        g = self.g2(F.relu(self.g1(F.adaptive_avg_pool2d(x4, 1))))
        x4 = self.e5(F.relu(x4 + g))
        y = self.f3(self.u3(x4, x3))
        y = self.f2(self.u2(y, x2))
        y = self.f1(self.u1(y, x1))
        y = self.f0(self.u0(y, x0))
        return self.head(y)


def spread(y):
    """(B, 8, h, w) at 8 px/mm to (B, 2, 2h, 2w) at 16 px/mm."""
    return F.pixel_shuffle(y, 2)


def fused(net):
    """A copy with every batch normalisation folded into the convolution before it."""
    import copy
    net = copy.deepcopy(net).float().eval()
    for m in net.modules():
        if isinstance(m, nn.Sequential) and len(m) == 2 and isinstance(m[0], nn.Conv2d) and \
                isinstance(m[1], nn.BatchNorm2d):
            m[0] = nn.utils.fusion.fuse_conv_bn_eval(m[0], m[1])
            m[1] = nn.Identity()
    return net


def log_colour(bgr):
    """(B, 3, H, W) of 0..1 to the model's colour planes: light becomes an offset, and the offset goes."""
    y = torch.log(bgr.clamp(0, 1) + 0.03)
    flat = y[:, :, ::4, ::4].mean(1).flatten(1)
    middle = flat.median(1).values.view(-1, 1, 1, 1)
    return ((y - middle) * 1.5).clamp(-4, 4)


def export_onnx(net, path, half=True):
    net = fused(net)
    x = torch.zeros(1, INPUTS, 256, 256)
    kwargs = {}
    if "dynamo" in torch.onnx.export.__code__.co_varnames:
        kwargs["dynamo"] = False
    torch.onnx.export(net, x, path, opset_version=11, input_names=["planes"], output_names=["logits"],
                      dynamic_axes={"planes": {2: "h", 3: "w"}, "logits": {2: "h2", 3: "w2"}}, **kwargs)
    if half:
        import numpy as np
        import onnx
        from onnx import numpy_helper
        model = onnx.load(path)
        for t in model.graph.initializer:
            a = numpy_helper.to_array(t)
            if a.dtype == np.float32:
                t.CopyFrom(numpy_helper.from_array(a.astype(np.float16), t.name))
        onnx.save(model, path)
