"""The displaced solution in numpy and scipy, and scipy's Fourier transform, for timing side by side.

Reads commands from stdin: `fft N SIDE` prints milliseconds of one rfft2 in float32;
`solve FILE COUNT WIDTH HEIGHT OUT` prints seconds and writes ln gain, float32."""
import sys, time
import numpy as np
import scipy.fft
from scipy.ndimage import map_coordinates


def binned(a, k):
    h, w = a.shape[0] // k, a.shape[1] // k
    return a[: h * k, : w * k].reshape(h, k, w, k).mean((1, 3), dtype="f4")


def place(origin, shift):
    p = origin - shift
    f = np.floor(p).astype(int)
    return f[0], f[1], np.float32(p[0] - f[0]), np.float32(p[1] - f[1])


def sample(o, at, shape):
    x, y, fx, fy = at
    h, w = shape
    v = o[y : y + h + 1, x : x + w + 1]
    v = v[:, :-1] * (1 - fx) + v[:, 1:] * fx
    return v[:-1] * (1 - fy) + v[1:] * fy


def spread(o, at, r):
    x, y, fx, fy = at
    h, w = r.shape
    t = np.zeros((h, w + 1), "f4")
    t[:, :-1] = r * (1 - fx)
    t[:, 1:] += r * fx
    o[y : y + h, x : x + w + 1] += t * (1 - fy)
    o[y + 1 : y + h + 1, x : x + w + 1] += t * fy


def register(d, average):
    k = max(1, -(-max(d[0].shape) // 820))
    small = [binned(f - average, k) for f in d]
    h, w = small[0].shape
    size = [scipy.fft.next_fast_len(int(1.25 * s), real=True) for s in (h, w)]
    window = np.outer(np.hanning(h), np.hanning(w)).astype("f4")
    f2 = np.add.outer(scipy.fft.fftfreq(size[0]) ** 2, scipy.fft.rfftfreq(size[1]) ** 2).astype("f4")
    band = np.exp(-2 * np.pi**2 * 1.5**2 * f2) - np.exp(-2 * np.pi**2 * 100 * f2)
    spectra = [scipy.fft.rfft2((s - s.mean()) * window, size) * band for s in small]
    reference = len(d) // 2
    for _ in range(2):
        shifts = []
        for s in spectra:
            c = s * np.conj(spectra[reference])
            c /= np.sqrt(np.abs(c)) + 1e-30
            r = scipy.fft.irfft2(c, size)
            py, px = np.unravel_index(np.argmax(r), r.shape)
            near = r[np.ix_([(py + j) % size[0] for j in (-1, 0, 1)], [(px + j) % size[1] for j in (-1, 0, 1)])]
            vertex = lambda v: 0.5 * (v[0] - v[2]) / (v[0] - 2 * v[1] + v[2])
            wrap = lambda p, n: p - n if p > n / 2 else p
            shifts.append((wrap(px, size[1]) + vertex(near.sum(0)), wrap(py, size[0]) + vertex(near.sum(1))))
        shifts = np.array(shifts)
        reference = int(np.argmin(np.hypot(*(shifts - np.median(shifts, 0)).T)))
    return shifts * k


def conjugate_gradients(q, at, shape, grid, mu, tolerance):
    n = len(q)
    count = np.zeros(grid, "f4")
    for i in range(n):
        spread(count, at[i], np.ones(shape, "f4"))
    inverse = (np.float32(1 / n), 1 / (count + mu), np.float32(1 / (shape[0] * shape[1])))

    def back(values):
        g, o, c = np.zeros(shape, "f4"), np.zeros(grid, "f4"), np.zeros(n, "f4")
        for i, v in enumerate(values):
            g += v
            spread(o, at[i], v)
            c[i] = v.sum()
        return [g, o, c]

    dot = lambda a, b: sum(float(np.vdot(x, y)) for x, y in zip(a, b))
    r = back(q)
    x = [np.zeros_like(v) for v in r]
    p, rz = [np.zeros_like(v) for v in r], 1.0
    beta, start = 0.0, None
    for _ in range(60):
        z = [a * b for a, b in zip(r, inverse)]
        new = dot(r, z)
        start = start or new
        if new < tolerance**2 * start:
            break
        beta = 0.0 if start == new else new / rz
        rz = new
        p = [a + np.float32(beta) * b for a, b in zip(z, p)]
        ap = back(p[2][i] + p[0] + sample(p[1], at[i], shape) for i in range(n))
        ap[1] += mu * p[1]
        step = np.float32(rz / dot(p, ap))
        x = [a + step * b for a, b in zip(x, p)]
        r = [a - step * b for a, b in zip(r, ap)]
    return x


def enlarge(coarse, shape):
    y, x = np.meshgrid((np.arange(shape[0]) + 0.5) / 4 - 0.5, (np.arange(shape[1]) + 0.5) / 4 - 0.5, indexing="ij")
    return map_coordinates(coarse, [y, x], order=1, mode="nearest", output="f4")


def solve(frames):
    d = []
    for f in frames:
        d.append(np.log(f.astype("f4") / np.float32(np.median(f[::7, ::7]))))
    n, shape, mu = len(d), d[0].shape, np.float32(0.02)
    average = sum(d) / np.float32(n)
    shifts = register(d, average)
    origin = np.ceil(shifts.max(0)) + 4
    grid = tuple(int(v) for v in (np.array(shape[::-1]) + origin - np.floor(shifts.min(0)) + 5)[::-1])
    small = tuple(s // 4 for s in shape)
    small_grid = tuple(-(-s // 4) + 1 for s in grid)
    g, o, c = average.copy(), np.zeros(grid, "f4"), np.zeros(n, "f4")
    for turn in range(3):
        at = [place(origin, s) for s in shifts]
        q = [binned(d[i] - c[i] - g - sample(o, at[i], shape), 4) for i in range(n)]
        at4 = [place(origin / 4, s / 4) for s in shifts]
        dg, do, dc = conjugate_gradients(q, at4, small, small_grid, mu / 16, 1e-4 if turn == 0 else 1e-2)
        g += enlarge(dg, shape)
        o += enlarge(do, grid)
        c += dc
        count = np.zeros(grid, "f4")
        for i in range(n):
            spread(count, at[i], np.ones(shape, "f4"))
        for _ in range(4):
            total = np.zeros(grid, "f4")
            for i in range(n):
                spread(total, at[i], d[i] - c[i] - g)
            o = total / (count + mu)
            step = np.zeros(shape, "f4")
            means = np.zeros(n, "f4")
            for i in range(n):
                r = d[i] - c[i] - g - sample(o, at[i], shape)
                means[i] = r.mean(dtype="f8")
                step += r
            c += means - means.mean()
            g += step / n
        if turn == 2:
            break
        for i in range(n):
            m = sample(o, at[i], shape)
            r = np.clip(d[i] - c[i] - g - m, -0.03, 0.03)
            gy, gx = np.gradient(m)
            a = np.array([[np.vdot(gx, gx), np.vdot(gx, gy)], [np.vdot(gx, gy), np.vdot(gy, gy)]], "f8")
            shifts[i] -= np.linalg.solve(a, [np.vdot(r, gx), np.vdot(r, gy)])
    return g


picture = None
for line in sys.stdin:
    words = line.split()
    if words[0] == "fft":
        side = int(words[1])
        if picture is None or picture.shape[0] != side:
            picture = np.random.default_rng(1).normal(size=(side, side)).astype("f4")
        start = time.perf_counter()
        scipy.fft.rfft2(picture)
        print((time.perf_counter() - start) * 1000, flush=True)
    else:
        _, path, n, w, h, out = words
        frames = np.fromfile(path, "<u2").reshape(int(n), int(h), int(w))
        start = time.perf_counter()
        gain = solve(frames)
        took = time.perf_counter() - start
        gain.astype("<f4").tofile(out)
        print(took, flush=True)
