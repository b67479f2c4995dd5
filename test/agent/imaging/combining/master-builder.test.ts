import { expect, test } from "vitest";
import { FrameMean } from "../../../../agent/imaging/combining/frame-mean.ts";
import { maskBits } from "../../../../agent/imaging/combining/mask-bits.ts";
import { MasterBuilder } from "../../../../agent/imaging/combining/master-builder.ts";
import { normaliseFlat, relativeNoise } from "../../../../agent/imaging/combining/normalise-flat.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 96, heightPx: 80 };
const px = shape.widthPx * shape.heightPx;
/** Photon noise of a well of 12 000 electrons over 60 000 adu. */
const aduPerElectron = 5;

/** True pattern: bright in the middle, a fifth darker in the corners, a little grain. */
const pattern = (() => {
  const random = new Random(1);
  return Float32Array.from({ length: px }, (_, i) => {
    const x = (i % shape.widthPx) / 48 - 1;
    const y = Math.floor(i / shape.widthPx) / 40 - 1;
    return (1 - 0.1 * (x * x + y * y)) * (1 + 0.007 * random.gauss());
  });
})();

function frame(random: Random, level: number): Uint16Array {
  return Uint16Array.from(pattern, (gain) => {
    const electrons = (level * gain) / aduPerElectron;
    return Math.round(800 + aduPerElectron * (electrons + Math.sqrt(electrons + 9) * random.gauss()));
  });
}

const dark = { meanAdu: new Float32Array(px).fill(800), sigmaAdu: new Float32Array(px).fill(4) };
const options = { shape, frameCountExpected: 40, dark, kind: "light" } as const;

test("40 frames under thin cloud: as good as photons allow, sigma honest", () => {
  const seed = 7;
  const random = new Random(seed);
  const builder = new MasterBuilder(options);
  const levels = Array.from({ length: 40 }, (_, k) => 50_000 * (1 + 0.03 * Math.sin(k / 4)));
  for (const level of levels) expect(builder.add(frame(random, level)).accepted).toBe(true);
  const master = builder.finish();
  master.scales.forEach((scale, k) => {
    expect(Math.abs(scale / (levels[k]! / levels[0]!) - 1), `seed ${seed}`).toBeLessThan(1e-3);
  });
  let [squares, within, limit] = [0, 0, 0];
  for (let i = 0; i < px; i++) {
    const truth = levels[0]! * pattern[i]!;
    const error = master.meanAdu[i]! - truth;
    squares += (error / truth) ** 2;
    limit += ((truth / aduPerElectron + 9) * aduPerElectron ** 2) / 40 / truth ** 2;
    if (Math.abs(error) < master.sigmaAdu[i]!) within++;
  }
  expect(Math.sqrt(squares / limit)).toBeLessThan(1.04);
  expect(Math.abs(within / px - 0.6827)).toBeLessThan(0.02);
  const last = master.growth.at(-1)!;
  expect(last.frames).toBe(40);
  expect(last.measured / last.expected).toBeGreaterThan(0.95);
  expect(last.measured / last.expected).toBeLessThan(1.05);
  expect(master.halves!.driftRms).toBeLessThan(3e-4);
});

test("struck pixels are rejected, in the first twelve frames and later ones", () => {
  const random = new Random(8);
  const builder = new MasterBuilder(options);
  for (let k = 0; k < 40; k++) {
    const pixels = frame(random, 45_000);
    if (k === 3) pixels[1000] = 65_000;
    if (k === 30) pixels[2000] = 65_000;
    builder.add(pixels);
  }
  const master = builder.finish();
  for (const i of [1000, 2000])
    expect(Math.abs(master.meanAdu[i]! - 45_000 * pattern[i]!)).toBeLessThan(5 * master.sigmaAdu[i]!);
  expect(Math.round(master.rejectedFraction * 40 * px)).toBeGreaterThanOrEqual(2);
  expect(master.mask[1000]).toBe(0);
});

test("a frame whose level jumps is refused, a slowly sinking Sun is not", () => {
  const random = new Random(9);
  const builder = new MasterBuilder(options);
  let level = 50_000;
  for (let k = 0; k < 30; k++) {
    level *= 0.995;
    expect(builder.add(frame(random, level)).accepted).toBe(true);
  }
  expect(builder.add(frame(random, 0.85 * level))).toMatchObject({ accepted: false, reason: "level jumped" });
  expect(builder.frameCount).toBe(30);
});

test("a frame with a cloud's edge in it is refused though its level is right", () => {
  const random = new Random(10);
  const builder = new MasterBuilder(options);
  const edged = () => {
    const pixels = frame(random, 45_000);
    return pixels.map((value, i) => value * (i % shape.widthPx < 48 ? 0.97 : 1.03));
  };
  for (let k = 0; k < 20; k++) {
    if (k === 5) builder.add(edged()); // among the first twelve it falls out when they are compared
    builder.add(frame(random, 45_000));
  }
  expect(builder.add(edged())).toMatchObject({ accepted: false, reason: "uneven cloud" });
  expect(builder.frameCount).toBe(20);
  expect(builder.finish().refusedFrames).toBe(2);
});

test("mask: hot by the map, clipped, unlit, dead; the flat's mean is 1 over the rest", () => {
  const random = new Random(11);
  const unhealthyPx = new Uint8Array(px);
  unhealthyPx[100] = 1;
  const builder = new MasterBuilder({ ...options, unhealthyPx, clipAdu: 60_000 });
  for (let k = 0; k < 16; k++) {
    const pixels = frame(random, 45_000);
    pixels[2222] = 65_000;
    pixels[3333] = 2000 + k;
    for (let x = 0; x < 8; x++) for (let y = 0; y < 8; y++) pixels[y * shape.widthPx + x] = 805 + (k % 2);
    builder.add(pixels);
  }
  const flat = normaliseFlat(builder.finish())!;
  expect(flat.mask[100]! & maskBits.unhealthy).toBeTruthy();
  expect(flat.mask[2222]! & maskBits.clipped).toBeTruthy();
  expect(flat.mask[0]! & maskBits.unlit).toBeTruthy();
  expect(flat.mask[3333]).not.toBe(0);
  expect(flat.gain[0]).toBe(1);
  const trusted = Array.from(flat.gain).filter((_, i) => flat.mask[i] === 0);
  expect(trusted.length).toBeGreaterThan(px - 100);
  expect(trusted.reduce((a, b) => a + b) / trusted.length).toBeCloseTo(1, 5);
  expect(relativeNoise(flat)!).toBeGreaterThan(0.002);
});

test("one frame is no master", () => {
  const builder = new MasterBuilder(options);
  builder.add(frame(new Random(12), 40_000));
  expect(() => builder.finish()).toThrow(RangeError);
});

test("darks are taken as they are: no scaling, hot pixels keep their level", () => {
  const random = new Random(13);
  const builder = new MasterBuilder({ shape, frameCountExpected: 16, kind: "dark" });
  for (let k = 0; k < 16; k++)
    builder.add(
      Uint16Array.from({ length: px }, (_, i) => Math.round((i === 50 ? 9000 : 800) + 20 * random.gauss())),
    );
  const master = builder.finish();
  expect(master.meanAdu[50]).toBeCloseTo(9000, -2);
  expect(master.meanAdu[51]).toBeCloseTo(800, -2);
  expect(master.sigmaAdu[51]! / (20 / 4)).toBeGreaterThan(0.8);
  expect(master.sigmaAdu[51]! / (20 / 4)).toBeLessThan(1.25);
});

test("a finished series takes no frame: its memory is another's", () => {
  const shape = { widthPx: 64, heightPx: 48 };
  const frame = () => new Uint16Array(64 * 48).fill(20_000);
  for (const kind of ["light", "dark"] as const) {
    const builder = new MasterBuilder({ shape, frameCountExpected: 3, kind });
    for (let k = 0; k < 3; k++) builder.add(frame());
    builder.finish();
    expect(() => builder.add(frame())).toThrow(/end of its series/);
  }
  const mean = new FrameMean(shape);
  mean.add(frame());
  expect(mean.mean()[0]).toBe(20_000);
  expect(mean.mean()[0]).toBe(20_000);
  expect(() => mean.add(frame())).toThrow(/after the mean/);
});
