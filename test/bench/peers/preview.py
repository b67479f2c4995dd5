"""preview.py TIMES WIDTH HEIGHT FOLDER: a grey PNG, stretched, of image.u16 by numpy and PIL; milliseconds of each time.
Then compares the pixels of ours.png with its own: the largest difference."""
import sys, time
import numpy as np
from PIL import Image

times, width, height, folder = int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
image = np.fromfile(f"{folder}/image.u16", np.uint16).reshape(height, width)
codes = np.arange(65536, dtype=np.float64)
for _ in range(times):
    start = time.perf_counter()
    black, white = np.percentile(image.ravel()[::91], [0.1, 99.9])
    table = np.clip((codes - black) / (white - black) * 255 + 0.5, 0, 255).astype(np.uint8)
    grey = table[image]
    Image.fromarray(grey).save(f"{folder}/theirs.png")
    print((time.perf_counter() - start) * 1000)
ours = np.asarray(Image.open(f"{folder}/ours.png"))
print("differs", int(abs(ours.astype(int) - grey).max()))
