import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { sumOfBytes } from "../../drivers/formats/fits-checksum.ts";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import { runPython } from "./python.ts";

const folder = mkdtempSync(join(tmpdir(), "packed-"));
afterAll(() => rmSync(folder, { recursive: true }));

/** Files of every pixel type and way of compression, with what astropy reads in them. */
const makeFiles = `
import json, os, sys, zlib
import numpy as np
from astropy.io import fits
folder = sys.argv[1]
rng = np.random.default_rng(20260714)
def picture(shape, level, noise):
    y, x = np.mgrid[0:shape[-2], 0:shape[-1]]
    dust = np.where(np.hypot(x - 20, y - 17) < 6, 0.9, 1)
    return level * dust * (1 - 0.2 * (x / shape[-1] - 0.5) ** 2) + noise * rng.standard_normal(shape)
shape = (53, 71)
images = {
  'uint16': picture(shape, 30000, 90).astype('uint16'),
  'full': rng.integers(0, 65536, shape).astype('uint16'),
  'int16': (picture(shape, 300, 40) - 250).astype('int16'),
  'int32': (picture(shape, 2e6, 900)).astype('int32'),
  'uint8': np.clip(picture(shape, 120, 3), 0, 255).astype('uint8'),
  'float32': picture(shape, 1, 0.01).astype('float32'),
  'cube': picture((4,) + shape, 12000, 60).astype('uint16'),
  'flat': np.full(shape, 77, 'uint16'),
}
listed = []
for name, data in images.items():
    plain = f'{folder}/{name}.fits'
    hdu = fits.PrimaryHDU(data)
    hdu.header['EXPTIME'] = 0.25
    hdu.header['OBJECT'] = 'Sun'
    hdu.writeto(plain, checksum=True)
    os.system(f'gzip -k {plain}')
    listed.append([plain + '.gz', plain, True])
    kinds = ['-r', '-g', '-g2', '-h'] if name != 'float32' else ['-r -q 4', '-g -q 0', '-g2 -q 0', '-r -qz 4', '-h -q 4', '-q0 4 -r']
    if name in ('uint8', 'int16', 'flat', 'cube'): kinds.append('-h -t 71,16')
    if name in ('uint16', 'flat'): kinds += ['-p', '-r -t 32,20', '-w -r', '-h -w']
    for number, kind in enumerate(kinds):
        packed = f'{folder}/{name}.{number}.fits.fz'
        if os.system(f'fpack {kind} -S {plain} > {packed} 2>/dev/null') == 0 and os.path.getsize(packed) > 0:
            listed.append([packed, plain, name != 'float32' or '-q 0' in kind])
    if name == 'uint16':
        for method in ('RICE_1', 'GZIP_1', 'GZIP_2', 'HCOMPRESS_1', 'PLIO_1'):
            for tile in (None, (53, 71), (16, 30)):
                packed = f'{folder}/astropy.{method}.{tile}.fits'
                try:
                    fits.CompImageHDU(data, compression_type=method, tile_shape=tile).writeto(packed)
                except Exception:
                    continue
                listed.append([packed, plain, True])
for name in ('dither1', 'dither2'):
    data = images['float32'].copy(); data[3:5] = 0; data[8, 8] = np.nan
    plain = f'{folder}/{name}.fits'
    fits.PrimaryHDU(data).writeto(plain)
    packed = f'{folder}/{name}.astropy.fits'
    fits.CompImageHDU(data, compression_type='RICE_1', quantize_method=int(name[-1]), dither_seed=417, quantize_level=16).writeto(packed)
    listed.append([packed, plain, False])
out = []
for packed, plain, exact in listed:
    # What astropy rounds or can't read (line lists of unsigned numbers) is held to what was packed.
    data = np.asarray(fits.getdata(plain) if exact else fits.getdata(packed))
    out.append([packed, plain, exact, list(data.shape), zlib.crc32(data.astype('>f8').tobytes())])
print(json.dumps(out))
`;

test("packed files of every kind hold what was packed; where that was rounded, what astropy reads", () => {
  const listed = runPython(makeFiles, [folder]) as [string, string, boolean, number[], number][];
  const methods = new Set<string>();
  for (const [packed, plain, exact, shape, sum] of listed) {
    using file = FitsFile.open(packed);
    const image = file.image();
    expect(image.shape, packed).toEqual(shape);
    const pixels = image.readRows(0, image.rowCount);
    const big = Buffer.alloc(8 * pixels.length);
    // One NaN for all: programs differ in theirs.
    for (let i = 0; i < pixels.length; i++) big.writeDoubleBE(pixels[i]!, 8 * i);
    expect(crc32(big), packed).toBe(sum);
    if (!exact) continue;
    using before = FitsFile.open(plain);
    expect(image.header.number("EXPTIME"), packed).toBe(packed.includes("astropy") ? undefined : 0.25);
    const raw = image.newRaw(pixels.length);
    image.readRaw(0, raw);
    const stated = before.image().header.text("DATASUM");
    if (image.layout.type === before.image().layout.type)
      expect(String(sumOfBytes(raw)), `${packed} DATASUM`).toBe(stated);
    methods.add(packed);
  }
  expect(methods.size).toBeGreaterThan(40);
});

test("fpack's own files with several pictures: each by its name", () => {
  runPython(
    `
import sys, json
import numpy as np
from astropy.io import fits
y, x = np.mgrid[0:40, 0:50]
value = (1 + 0.01 * x).astype('float32')
fits.HDUList([fits.PrimaryHDU(value), fits.ImageHDU((value * 0.01).astype('float32'), name='UNCERT'),
  fits.ImageHDU(((x + y) % 7 == 0).astype('uint8'), name='MASK')]).writeto(sys.argv[1])
print('0')`,
    [join(folder, "master.fits")],
  );
  expect(spawnSync("fpack", ["-g", "-q", "0", join(folder, "master.fits")]).status).toBe(0);
  using packed = FitsFile.open(join(folder, "master.fits.fz"));
  using plain = FitsFile.open(join(folder, "master.fits"));
  for (const name of [undefined, "UNCERT", "MASK"])
    expect(packed.image(name).readRows(0, 40), name).toEqual(plain.image(name).readRows(0, 40));
});

function crc32(bytes: Uint8Array): number {
  return Bun.hash.crc32(bytes);
}
