import { expect, test } from "vitest";
import { leftoverByScale } from "../../../../agent/imaging/defocus/leftover-by-scale.ts";
import { solveSky } from "../../../../agent/imaging/defocus/sky-surface.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { lookAt, middle, pixelSigma, rigGain, shape } from "./blurred-sky.ts";

const shifts = [
  [0, 0],
  [30, 0],
  [-23, 0],
  [0, 27],
  [0, -20],
].map(([x, y]) => ({ x: x!, y: y! }));
const expected = (distancePx: number) => -2e-6 * distancePx ** 2;

/** What the law does not foretell: an active region blurred to a soft hump. */
const hump = (heightOf: number) => (x: number, y: number) =>
  heightOf * Math.exp(-((x - 110) ** 2 + (y - 40) ** 2) / (2 * 35 ** 2));

function solved(seed: number, besides: (x: number, y: number) => number, leans = [0]) {
  const random = new Random(seed);
  const gain = rigGain(random);
  const light = (x: number, y: number) => expected(Math.hypot(x - middle.x, y - middle.y)) + besides(x, y);
  const looks = shifts.map((shift, k) => {
    const lean = leans[k % leans.length]!;
    const hazed = (x: number, y: number) => light(x, y) + lean * ((x + shift.x) / shape.widthPx);
    return lookAt(random, gain, hazed, { shift, utcMs: k * 10_000, logLevel: 0.002 * random.gauss() });
  });
  const sky = solveSky({ shape, looks, disc: middle, expected })!;
  const model = (place: { x: number; y: number }) =>
    expected(Math.hypot(place.x - middle.x, place.y - middle.y)) + sky.besides(place);
  const { scales: leftover, haze } = leftoverByScale(
    shape,
    looks,
    ({ shift }, { x, y }) =>
      model({ x: x - shift.x, y: y - shift.y }) +
      sky.levels[looks.findIndex((look) => look.shift === shift)]!,
  );
  return { sky, leftover, haze };
}

/** Rms over the frame of what the surface misses, a plane left out: it can't be known from here. */
function missed(sky: NonNullable<ReturnType<typeof solveSky>>, besides: (x: number, y: number) => number) {
  const places = Array.from({ length: 30 * 24 }, (_, k) => ({
    x: ((k % 30) + 0.5) * (160 / 30),
    y: (Math.floor(k / 30) + 0.5) * (128 / 24),
  }));
  const off = places.map((place) => sky.besides(place) - besides(place.x, place.y));
  const mean = off.reduce((a, b) => a + b) / off.length;
  const slope = (axis: "x" | "y") => {
    const centred = places.map((place) => place[axis] - middle[axis]);
    return centred.reduce((sum, d, k) => sum + d * off[k]!, 0) / centred.reduce((sum, d) => sum + d * d, 0);
  };
  const [sx, sy] = [slope("x"), slope("y")];
  const left = off.map((o, k) => o - mean - sx * (places[k]!.x - middle.x) - sy * (places[k]!.y - middle.y));
  return Math.sqrt(left.reduce((sum, o) => sum + o * o, 0) / left.length);
}

test("a hump of 1 % on the light is told apart from a rig with vignetting, a gradient and uneven pixels", () => {
  const { sky } = solved(1, hump(0.01));
  expect(missed(sky, hump(0.01))).toBeLessThan(2e-4);
  expect(sky.pixelSigma).toBeCloseTo(pixelSigma, 3);
});

test("with nothing but the expected light nothing is found, within the stated sigma", () => {
  const { sky, leftover } = solved(2, () => 0);
  expect(missed(sky, () => 0)).toBeLessThan(2e-4);
  const sigma = sky.besidesSigma({ x: 20, y: 20 });
  expect(sigma).toBeGreaterThan(2e-5);
  expect(sigma).toBeLessThan(2e-3);
  for (const { rms, sigma: own } of leftover) expect(rms).toBeLessThan(4 * own);
});

test("haze that leans one look against another is told as such, and is no structure of the Sun", () => {
  const calm = solved(5, () => 0);
  expect(calm.haze.acrossX).toBeLessThan(3e-4);
  // Rms of these leans about their mean: 0.0039.
  const { leftover, haze } = solved(5, () => 0, [0.004, -0.004, 0.003, -0.005, 0.002]);
  expect(haze.acrossX).toBeGreaterThan(0.003);
  expect(haze.acrossX).toBeLessThan(0.005);
  expect(haze.acrossY).toBeLessThan(haze.acrossX / 2);
  for (const { rms, sigma } of leftover) expect(rms).toBeLessThan(Math.max(4 * sigma, 6e-4));
});

test("structure finer than the surface can bend is left over, and said to be", () => {
  const ripple = (x: number, y: number) => 0.002 * Math.cos((2 * Math.PI * (x + 0.3 * y)) / 14);
  const { leftover } = solved(3, ripple);
  const atFour = leftover.find(({ sidePx }) => sidePx === 4)!;
  expect(atFour.rms).toBeGreaterThan(0.6 * (0.002 / Math.SQRT2));
  expect(atFour.rms).toBeLessThan(1.2 * (0.002 / Math.SQRT2));
  expect(atFour.rms).toBeGreaterThan(10 * atFour.sigma);
});

test("one look, or light on too few blocks: no surface", () => {
  const random = new Random(4);
  const gain = rigGain(random);
  const look = lookAt(random, gain, () => 0, { shift: { x: 0, y: 0 }, utcMs: 0 });
  expect(solveSky({ shape, looks: [look], disc: middle, expected })).toBeUndefined();
  const small = (distancePx: number) => (distancePx < 20 ? 0 : Number.NaN);
  const other = lookAt(random, gain, () => 0, { shift: { x: 10, y: 0 }, utcMs: 0 });
  expect(solveSky({ shape, looks: [look, other], disc: middle, expected: small })).toBeUndefined();
});
