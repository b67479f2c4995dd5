"""Displaced frames of a plain Sun and a flat with a known error of its light, by numpy alone.

argv: a JSON of what differs from `usual`, and the file that the pictures go to (float32, [1 + looks, height, width]: the flat
in adu above the dark, then the looks). Prints the truth as JSON: shifts, the disc, the flat's error in 32 px blocks.
"""
import json
import sys

import numpy as np

usual = {
    "seed": 1, "width": 640, "height": 480, "scene": "A", "looks": 9, "reach": 0.2, "pattern": "spiral",
    "error": "none", "size": 0.0, "haze": 0.003, "level": 0.02, "registration": 0.2, "flatFrames": 40,
    "lookLevel": 0.7, "flatLevel": 0.8, "ghost": 0.0, "ghostMotion": -1.0, "curve": 0.0,
}
set_up = {**usual, **json.loads(sys.argv[1])}
rng = np.random.default_rng(set_up["seed"])
W, H = set_up["width"], set_up["height"]
FULL, E_PER_ADU, READ = 65535.0, 0.35, 4.0
MARGIN = int(0.45 * H)
CW, CH = W + 2 * MARGIN, H + 2 * MARGIN
fy, fx = np.meshgrid(np.fft.fftfreq(CH), np.fft.fftfreq(CW), indexing="ij")
fr = np.hypot(fx, fy)
cy, cx = np.mgrid[0:CH, 0:CW]
cx, cy = cx - MARGIN - (W - 1) / 2, cy - MARGIN - (H - 1) / 2
yy, xx = np.mgrid[0:H, 0:W]


def blob(x, y, sx, sy, angle):
    u = (cx - x) * np.cos(angle) + (cy - y) * np.sin(angle)
    v = -(cx - x) * np.sin(angle) + (cy - y) * np.cos(angle)
    return np.exp(-((u / sx) ** 2 + (v / sy) ** 2) / 2)


def network(contrast):
    amplitude = np.where((fr > 1 / 250) & (fr < 0.2), np.maximum(fr, 1e-9) ** -1.2, 0)
    picture = np.fft.ifft2(np.fft.fft2(rng.standard_normal((CH, CW))) * amplitude).real
    return contrast * picture / picture.std()


def sun():
    radius = 0.42 * H if set_up["scene"] == "A" else 3.1 * H
    spread = radius * 0.75 if set_up["scene"] == "A" else 0.6 * W
    picture = np.exp(network(0.05))
    for _ in range(4):
        x, y = rng.uniform(-spread, spread, 2) * [1, 0.7]
        picture *= 1 + 0.5 * blob(x, y, rng.uniform(6, 16), rng.uniform(4, 10), rng.uniform(0, 3))
    for _ in range(2):
        x, y = rng.uniform(-spread, spread, 2) * [1, 0.7]
        picture *= 1 - 0.55 * blob(x, y, 3.5, 3.5, 0)
    for _ in range(4):
        x, y = rng.uniform(-spread, spread, 2) * [1, 0.7]
        picture *= 1 - rng.uniform(0.15, 0.3) * blob(x, y, rng.uniform(15, 30), 2, rng.uniform(0, 3))
    middle = (0.0, 0.0) if set_up["scene"] == "A" else (1.2 * H, 0.8 * H)
    r = np.hypot(cx - middle[0], cy - middle[1]) / radius
    mu = np.sqrt(np.clip(1 - r * r, 0, None))
    darkened = 0.35 + 0.88 * mu - 0.23 * mu * mu
    edge = np.clip((1 - r) * radius + 0.5, 0, 1)
    aureole = 0.002 * np.exp(-np.clip(r - 1, 0, None) * 2)
    return picture * darkened * edge + aureole * (1 - edge), radius, middle


def displaced(canvas, dx, dy, blur):
    spectrum = np.fft.fft2(canvas) * np.exp(-2 * (np.pi * blur * fr) ** 2 - 2j * np.pi * (fx * dx + fy * dy))
    return np.fft.ifft2(spectrum).real[MARGIN:MARGIN + H, MARGIN:MARGIN + W]


def pattern():
    k, reach = set_up["looks"], set_up["reach"] * H
    if set_up["pattern"] == "cross":
        arms = [(0, 0)] + [(s * a, 0) if axis == 0 else (0, s * a)
                           for a in (0.5, 1) for s in (1, -1) for axis in (0, 1)]
        return [(reach * x, reach * y) for x, y in arms[:k]]
    turn = np.pi * (3 - np.sqrt(5))
    return [(reach * np.sqrt(i / (k - 1)) * np.cos(i * turn), reach * np.sqrt(i / (k - 1)) * np.sin(i * turn))
            for i in range(k)]


def rig():
    r2 = ((xx - W / 2) ** 2 + (yy - H / 2) ** 2) / ((W / 2) ** 2 + (H / 2) ** 2)
    g = 1 - 0.3 * r2
    for _ in range(14):
        x, y, rad, depth = rng.uniform(0, W), rng.uniform(0, H), rng.uniform(6, 20), rng.uniform(0.01, 0.06)
        d = np.hypot(xx - x, yy - y)
        g *= 1 - depth / (1 + np.exp((d - rad) / 1.5)) + 0.5 * depth / (1 + np.exp((d - 0.4 * rad) / 1.5))
    return g * (1 + 0.008 * rng.standard_normal((H, W)))


def log_error(plain):
    kind, size = set_up["error"], set_up["size"]
    xn, yn = (xx - (W - 1) / 2) / (W / 2), (yy - (H - 1) / 2) / (H / 2)
    if kind == "patch":
        return size * np.exp(-((xx - 0.4 * W) ** 2 + (yy - 0.55 * H) ** 2) / (2 * 40.0 ** 2))
    if kind == "fall-off":
        return -size * (xn ** 2 * W * W + yn ** 2 * H * H) / (W * W + H * H)
    if kind == "share":
        return np.log(1 + size * plain)
    if kind == "ghost-in-flat":
        d = np.hypot(xx - 0.55 * W, yy - 0.45 * H)
        return np.log(1 + size / (1 + np.exp((d - 0.2 * H) / 1.5)))
    return np.zeros((H, W))


def bent(adu):
    return adu * (1 - set_up["curve"] * adu / FULL)


def exposed(adu, frames):
    electrons = np.clip(adu, 0, None) * E_PER_ADU
    one = bent(electrons / E_PER_ADU)
    sigma = np.sqrt(electrons + READ ** 2 + (16 * E_PER_ADU) ** 2 / 12) / E_PER_ADU
    return one + sigma / np.sqrt(frames) * rng.standard_normal((H, W))


def blocks(picture, side=32):
    rows, columns = -(-H // side), -(-W // side)
    return [[float(picture[j * side:(j + 1) * side, i * side:(i + 1) * side].mean()) for i in range(columns)]
            for j in range(rows)]


canvas, radius, middle = sun()
gain = rig()
centre = displaced(canvas, 0, 0, 1.0)
f = log_error(centre)
flat_light = gain * np.exp(f)
flat = exposed(set_up["flatLevel"] * FULL * flat_light / flat_light.max(), set_up["flatFrames"])
ghost_picture = np.exp(-(((xx - 0.62 * W) / (0.12 * W)) ** 2 + ((yy - 0.4 * H) / (0.15 * H)) ** 2) / 2)
ghost_canvas = np.zeros((CH, CW))
ghost_canvas[MARGIN:MARGIN + H, MARGIN:MARGIN + W] = ghost_picture
shifts, looks = [], []
for x, y in pattern():
    true = np.array([x, y]) + (set_up["registration"] * rng.standard_normal(2) if looks else 0)
    picture = displaced(canvas, true[0], true[1], rng.uniform(0.5, 2.0))
    hx, hy = set_up["haze"] * rng.standard_normal(2)
    sky = 1 + hx * ((xx + 0.5) / W - 0.5) + hy * ((yy + 0.5) / H - 0.5)
    light = gain * picture * sky
    if set_up["ghost"] > 0:
        m = set_up["ghostMotion"]
        light = light + gain * set_up["ghost"] * displaced(ghost_canvas, m * true[0], m * true[1], 0)
    scale = set_up["lookLevel"] * FULL / np.percentile(light, 99.9) * np.exp(set_up["level"] * rng.standard_normal())
    looks.append(exposed(scale * light, 1))
    shifts.append([float(true[0]), float(true[1])])
np.stack([flat, *looks]).astype(np.float32).tofile(sys.argv[2])
# What the sensor's curve does to the flat is an error of it as well.
curve_error = np.log(bent(set_up["flatLevel"] * FULL * flat_light / flat_light.max())
                     / (set_up["flatLevel"] * FULL * flat_light / flat_light.max()))
print(json.dumps({"shifts": shifts, "radius": radius, "disc": [(W - 1) / 2 + middle[0], (H - 1) / 2 + middle[1]],
                  "blocks": blocks(f), "curveBlocks": blocks(curve_error)}))
