"""memory.py mean|clipped|median OUTPUT TIMES FILES: the frames in memory; prints the milliseconds of each time."""
import sys, time
import numpy as np
from astropy.io import fits

method, output, times, files = sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4:]
stack = np.array([fits.getdata(f) for f in files])


def clipped(tile):
    values = tile.astype(np.float32)
    middle = np.median(values, axis=0)
    limit = 3 * values.std(axis=0)
    values[abs(values - middle) > limit] = np.nan
    return np.nanmean(values, axis=0)


for _ in range(times):
    start = time.perf_counter()
    if method == "mean":
        result = np.mean(stack, axis=0)
    elif method == "median":
        result = np.median(stack, axis=0)
    else:
        rows = 16
        result = np.concatenate([clipped(stack[:, y:y + rows]) for y in range(0, stack.shape[1], rows)])
    print((time.perf_counter() - start) * 1000)
result.astype(np.float32).tofile(output)
