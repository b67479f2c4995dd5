"""A ladder of exposures through a diffuser onto a bent sensor, by numpy alone.

argv: JSON of what differs from `usual`. Prints the ladder's steps (block means over full scale) and what is true.
"""
import json
import sys

import numpy as np

usual = {"seed": 1, "curve": "quadratic", "size": 0.02, "drift": 0.01, "order": "up-down", "width": 640, "height": 480}
set_up = {**usual, **json.loads(sys.argv[1])}
rng = np.random.default_rng(set_up["seed"])
W, H = set_up["width"], set_up["height"]
FULL, E_PER_ADU, READ = 65535.0, 0.35, 4.0
yy, xx = np.mgrid[0:H, 0:W]
r2 = ((xx - W / 2) ** 2 + (yy - H / 2) ** 2) / ((W / 2) ** 2 + (H / 2) ** 2)
gain = (1 - 0.3 * r2) * (1 + 0.008 * rng.standard_normal((H, W)))
for _ in range(14):
    x, y, rad, depth = rng.uniform(0, W), rng.uniform(0, H), rng.uniform(6, 20), rng.uniform(0.01, 0.06)
    gain *= 1 - depth / (1 + np.exp((np.hypot(xx - x, yy - y) - rad) / 1.5))


def measured(y):
    size = set_up["size"]
    if set_up["curve"] == "quadratic":
        return y * (1 - size * y)
    if set_up["curve"] == "shoulder":
        return y * (1 - size * y ** 3)
    if set_up["curve"] == "wave":
        return y * (1 + size * np.sin(2 * np.pi * y) * 0.5)
    return y


up = np.linspace(0.15, 0.9, 6)
levels = np.concatenate([up, up[::-1]])
if set_up["order"] == "random":
    rng.shuffle(levels)
walk = np.cumsum(rng.standard_normal(12))
walk = 0.3 * set_up["drift"] * walk / max(1e-9, np.ptp(walk))
light = 1 + 0.7 * set_up["drift"] * np.linspace(-0.5, 0.5, 12) + walk
steps = []
for k, level in enumerate(levels):
    electrons = level * light[k] * gain / gain.max() * FULL * E_PER_ADU
    electrons = np.clip(electrons + np.sqrt(electrons + READ ** 2) * rng.standard_normal((H, W)), 1, None)
    adu = np.round(FULL * measured(electrons / E_PER_ADU / FULL) / 16) * 16
    blocks = adu[: H // 8 * 8, : W // 8 * 8].reshape(H // 8, 8, W // 8, 8).mean(axis=(1, 3)) / FULL
    steps.append({"exposureSeconds": float(level), "seconds": float(k), "levels": blocks.ravel().tolist()})
at = np.linspace(0.1, 0.9, 33)
truth = np.log(measured(at) / at)
small = gain[::16, ::16] / gain.max()
effect = np.log(measured(0.85 * small) / (0.85 * small)) - np.log(measured(0.35 * small) / (0.35 * small))
print(json.dumps({"steps": steps, "at": measured(at).tolist(), "truth": truth.tolist(), "gain": small.ravel().tolist(),
                  "effect": float(effect.std())}))
