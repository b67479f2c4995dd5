import { mkdirSync, rmSync } from "node:fs";
import { join } from "node:path";
import { writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { Random } from "../../drivers/kit/random.ts";
import { benchFolder, runProcess } from "./side-by-side.ts";

/**
 * What people wait for who have files: `inspect` of a flat, `apply` to the first image with its fit check, `match`, each as a
 * whole process. Frames of vignetting, pixel response and dust; of the Sun's structure only what a fit check needs.
 */
const program = join(import.meta.dirname, "../../agent/main.ts");
const sizes = [
  { widthPx: 1920, heightPx: 1250 },
  { widthPx: 4000, heightPx: 3000 },
  { widthPx: 6000, heightPx: 4000 },
];
const wanted = (process.env.SIZES ?? "2.4,12,24").split(",");
const dustPerMegapixel = 3;

for (const shape of sizes) {
  const megapixels = (shape.widthPx * shape.heightPx) / 1e6;
  if (!wanted.includes(String(Number(megapixels.toFixed(1))))) continue;
  const folder = benchFolder("analysis");
  try {
    measure(folder, shape, megapixels);
  } finally {
    rmSync(folder, { recursive: true });
  }
}

function measure(folder: string, shape: (typeof sizes)[number], megapixels: number): void {
  const random = new Random(20261201);
  const pattern = rigPattern(shape, random);
  const flats = Array.from({ length: 8 }, (_, k) =>
    writeCounts(join(folder, `flat-${k}.fits`), shape, random, "Flat", (i) => 45_000 * pattern[i]!),
  );
  const surface = sunSurface(shape, random);
  const image = writeCounts(
    join(folder, "sun.fits"),
    shape,
    random,
    "Light",
    (i) => 30_000 * pattern[i]! * surface[i]!,
  );
  const masters = join(folder, "masters");
  mkdirSync(masters);
  const master = join(masters, "flat.fits");
  const commands = {
    "combine of 8 flats": ["combine", ...flats, "-o", master, "--replace"],
    "inspect of the master": ["inspect", master],
    "first apply": [
      "apply",
      image,
      "--flat",
      master,
      "-o",
      join(folder, "out"),
      "--replace",
      "--despite-dark",
    ],
    "match of one image": ["match", image, "--masters", masters],
  };
  for (const [what, command] of Object.entries(commands)) {
    // `match` may end with another exit code than 0: that it can't tell.
    const anyEnd = ["sh", "-c", '"$@" || true', "sh", process.execPath, program, ...command];
    const { ms, mebibytes } = runProcess(anyEnd);
    const bytesPerPixel = (mebibytes * 1_048_576) / (megapixels * 1e6);
    console.log(
      `${megapixels.toFixed(1)} Mpx  ${what.padEnd(22)} ${(ms / 1000).toFixed(2)} s  ${mebibytes.toFixed(0)} MiB  ${bytesPerPixel.toFixed(0)} bytes a pixel`,
    );
  }
}

/** Vignetting, pixel response of 0.5 % and soft round shadows of 2 to 8 %. */
function rigPattern({ widthPx, heightPx }: (typeof sizes)[number], random: Random): Float32Array {
  const pattern = new Float32Array(widthPx * heightPx);
  for (let i = 0; i < pattern.length; i++) {
    const [u, v] = [(i % widthPx) / widthPx - 0.5, Math.floor(i / widthPx) / heightPx - 0.5];
    pattern[i] = (1 - 0.3 * (u * u + v * v)) * (1 + 0.005 * random.gauss());
  }
  for (let k = 0; k < (dustPerMegapixel * pattern.length) / 1e6; k++) {
    const [x, y] = [random.uniform() * widthPx, random.uniform() * heightPx];
    const [radius, depth] = [12 + 20 * random.uniform(), 0.02 + 0.06 * random.uniform()];
    const reach = radius + 6;
    for (let row = Math.max(0, Math.ceil(y - reach)); row < Math.min(heightPx, y + reach); row++)
      for (let column = Math.max(0, Math.ceil(x - reach)); column < Math.min(widthPx, x + reach); column++) {
        const edge = (radius - Math.hypot(column - x, row - y)) / 2;
        pattern[row * widthPx + column]! *= 1 - depth / (1 + Math.exp(-edge));
      }
  }
  return pattern;
}

/** Waves of many lengths, 3 % rms. */
function sunSurface({ widthPx, heightPx }: (typeof sizes)[number], random: Random): Float32Array {
  const waves = Array.from({ length: 24 }, () => {
    const [lengthPx, angle] = [8 * 2 ** (5 * random.uniform()), Math.PI * random.uniform()];
    const k = (2 * Math.PI) / lengthPx;
    return { kx: k * Math.cos(angle), ky: k * Math.sin(angle), phase: 7 * random.uniform() };
  });
  const surface = new Float32Array(widthPx * heightPx);
  for (let i = 0; i < surface.length; i++) {
    let sum = 0;
    for (const { kx, ky, phase } of waves)
      sum += Math.sin(kx * (i % widthPx) + ky * Math.floor(i / widthPx) + phase);
    surface[i] = 1 + 0.0087 * sum;
  }
  return surface;
}

function writeCounts(
  path: string,
  { widthPx, heightPx }: (typeof sizes)[number],
  random: Random,
  kind: string,
  levelAt: (i: number) => number,
): string {
  const pixels = new Uint16Array(widthPx * heightPx);
  for (let i = 0; i < pixels.length; i++) {
    const level = levelAt(i);
    pixels[i] = level + 1.5 * Math.sqrt(level) * random.gauss();
  }
  const cards = [
    { keyword: "IMAGETYP", value: `${kind} Frame` },
    { keyword: "EXPTIME", value: 0.01 },
  ];
  writeFitsFile(path, [{ pixels, shape: [heightPx, widthPx], cards }], { writtenUtcMs: 0, replace: true });
  return path;
}
