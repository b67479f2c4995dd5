"""pixels.py TIMES WIDTH HEIGHT FOLDER: histogram with percentiles, and flat division, in memory; milliseconds of each time."""
import sys, time
import numpy as np

times, width, height, folder = int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
image = np.fromfile(f"{folder}/image.u16", np.uint16).reshape(height, width)
flat = np.fromfile(f"{folder}/flat.f32", np.float32).reshape(height, width)
dark = np.fromfile(f"{folder}/dark.f32", np.float32).reshape(height, width)


def figures():
    counts = np.bincount(image.ravel(), minlength=65536)
    return counts, np.percentile(image, [1, 25, 50, 75, 99])


def divide():
    value = (image - dark) / (flat / flat.mean()) + np.float32(300)
    return np.clip(np.floor(value + np.float32(0.5)), 0, 65535).astype(np.uint16)


for what, work in (("figures", figures), ("divide", divide)):
    for _ in range(times):
        start = time.perf_counter()
        result = work()
        print(what, (time.perf_counter() - start) * 1000)
    if what == "figures":
        result[0].astype(np.uint32).tofile(f"{folder}/counts.u32")
        print("percentiles", *result[1])
    else:
        result.tofile(f"{folder}/numpy.u16")
