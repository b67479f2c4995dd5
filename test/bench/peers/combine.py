"""Combines FITS files with ccdproc: combine.py mean|clipped OUTPUT FILES. Prints seconds of the combination alone."""
import sys, time, warnings
warnings.simplefilter("ignore")
import numpy as np
import ccdproc

method, output, files = sys.argv[1], sys.argv[2], sys.argv[3:]
start = time.perf_counter()
options = dict(method="average", unit="adu", dtype=np.float32, mem_limit=4e9)
if method == "clipped":
    options.update(sigma_clip=True, sigma_clip_low_thresh=3, sigma_clip_high_thresh=3,
                   sigma_clip_func=np.ma.median, sigma_clip_dev_func=np.ma.std)
combined = ccdproc.combine(files, **options)
combined.data.astype(np.float32).tofile(output)
print(time.perf_counter() - start)
