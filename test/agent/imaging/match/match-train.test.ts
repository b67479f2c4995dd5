import { expect, test } from "vitest";
import { type MatchVerdict, matchTrain } from "../../../../agent/imaging/match/match-train.ts";
import { smallStructure } from "../../../../agent/imaging/match/small-structure.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { sumWaves } from "./sum-waves.ts";

const fft = await loadFft();
const shape = { widthPx: 280, heightPx: 210 };

function dustOf(train: number, count: number, shift: { x: number; y: number }) {
  const random = new Random(train);
  return Array.from({ length: count }, () => ({
    xPx: random.between(30, 250) + shift.x,
    yPx: random.between(30, 180) + shift.y,
    diameterPx: random.between(10, 28),
    depth: random.between(0.03, 0.08),
  }));
}

/** The same for every picture: a sensor's pixels never move. */
const sensor = new Random(4711);
const pattern = Float32Array.from({ length: shape.widthPx * shape.heightPx }, () => sensor.gauss());

/** Vignetted, dusty, with noise; grains of a few px stand for the Sun's own structure. */
function picture(
  train: number,
  seed: number,
  look: {
    count: number;
    shift?: { x: number; y: number };
    grains?: number;
    pattern?: number;
    dust?: ReturnType<typeof dustOf>;
    vignetting?: number;
    missingRows?: number;
  },
) {
  const { count, shift = { x: 0, y: 0 }, grains = 0, vignetting = 0.1, missingRows = 0 } = look;
  const dust = look.dust ?? dustOf(train, count, shift);
  const random = new Random(seed);
  const grain = sumWaves(random, shape, { count: grains > 0 ? 60 : 0, periodPx: [8, 20] });
  const levels = Float32Array.from({ length: shape.widthPx * shape.heightPx }, (_, i) => {
    const [x, y] = [i % shape.widthPx, Math.floor(i / shape.widthPx)];
    if (y < missingRows) return Number.NaN;
    let level = 1 - vignetting * (((x - 140) / 140) ** 2 + ((y - 105) / 105) ** 2);
    for (const { xPx, yPx, diameterPx, depth } of dust) {
      const r = Math.sqrt((x - xPx) ** 2 + (y - yPx) ** 2);
      if (r < diameterPx) level *= 1 - depth * 0.5 * (1 - Math.tanh(r - diameterPx / 2));
    }
    level *= 1 + (look.pattern ?? 0) * pattern[i]!;
    return level * (1 + grains * grain[i]! + 0.003 * random.gauss());
  });
  return smallStructure(levels, shape);
}

const counts = [3, 6, 9, 14];

function said(
  kind: "flat" | "image",
  other: boolean,
  look: { shift?: { x: number; y: number }; grains?: number },
) {
  return Array.from({ length: 12 }, (_, k): MatchVerdict => {
    const count = counts[k % counts.length]!;
    const flat = picture(1000 + k, k, { count });
    const shadows = dustOf(1000 + k, count, { x: 0, y: 0 });
    const train = other ? 5000 + k : 1000 + k;
    return matchTrain(fft, flat, picture(train, 100 + k, { count, ...look }), shadows, kind).says;
  });
}

test("dust that the flat has not is never said to fit, in flats as in images with grains", () => {
  expect(said("flat", true, {})).not.toContain("fits");
  expect(said("image", true, { grains: 0.01 })).not.toContain("fits");
  expect(said("image", true, { grains: 0.03 })).not.toContain("fits");
});

test("the same train fits; where grains hide it that is said, but never that it has moved", () => {
  expect(new Set(said("flat", false, {}))).toEqual(new Set(["fits"]));
  for (const grains of [0.01, 0.03])
    for (const says of said("image", false, { grains }))
      expect(["fits", "uncertain", "untold"]).toContain(says);
});

test("rows missing at the border of a strongly vignetted picture look like no dust", () => {
  for (const missingRows of [5, 12]) {
    const says = counts.map((count, k) => {
      const flat = picture(1000 + k, k, { count, vignetting: 0.4 });
      const cut = picture(1000 + k, 100 + k, { count, vignetting: 0.4, missingRows });
      return matchTrain(fft, flat, cut, dustOf(1000 + k, count, { x: 0, y: 0 }), "flat").says;
    });
    expect(new Set(says), `${missingRows} rows`).toEqual(new Set(["fits"]));
  }
});

test("half a pixel is seen between flats", () => {
  expect(new Set(said("flat", false, { shift: { x: 0.4, y: -0.3 } }))).toEqual(new Set(["moved"]));
});

test("a sensor whose pixels differ by 0.7 % does not hold the dust in place: shifts are told to 0.15 px", () => {
  for (const shift of [
    { x: 0.4, y: -0.3 },
    { x: -3, y: 4 },
    { x: 11, y: 9 },
  ]) {
    const count = 9;
    const flat = picture(1000, 1, { count, pattern: 0.007 });
    const shadows = dustOf(1000, count, { x: 0, y: 0 });
    const found = matchTrain(fft, flat, picture(1000, 2, { count, shift, pattern: 0.007 }), shadows, "flat");
    expect(found.says).toBe("moved");
    expect(Math.hypot(found.shift.x - shift.x, found.shift.y - shift.y)).toBeLessThan(0.15);
  }
});

test("one shadow that is gone was blown off; two are a surface that moved", () => {
  const shadows = [70, 140, 210].flatMap((xPx) =>
    [50, 105, 160].map((yPx, k) => ({ xPx, yPx, diameterPx: 16 + 4 * k, depth: 0.05 })),
  );
  const look = { count: 9, pattern: 0.007 };
  const flat = picture(0, 1, { ...look, dust: shadows });
  const without = (gone: number) =>
    matchTrain(fft, flat, picture(0, 2, { ...look, dust: shadows.slice(gone) }), shadows, "flat");
  expect(without(0)).toMatchObject({ says: "fits", gone: 0 });
  expect(without(1)).toMatchObject({ gone: 1 });
  expect(without(1).says).not.toBe("moved");
  expect(without(2)).toMatchObject({ says: "moved", gone: 2 });
});
