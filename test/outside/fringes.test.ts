import { expect, test } from "vitest";
import { loadFft } from "../../agent/imaging/numerics/fft-library.ts";
import { quantile } from "../../agent/imaging/numerics/order-statistics.ts";
import {
  coherenceLengthMm,
  spacingAtTiltMicron,
  wedgeAndSpacing,
} from "../../agent/imaging/proof/fringe-origin.ts";
import { findFringes, peakOfChance, wavesLookedAt } from "../../agent/imaging/proof/fringes.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check, checkInPart } from "./check.ts";
import { isWholeList } from "./whole-list.ts";

const side = 512;
const shape = { widthPx: side, heightPx: side };
const everywhere = new Uint8Array(side * side).fill(1);
const fft = await loadFft();

/** Vignetted, with 1 % noise and a wave. Recipe of the published check. */
function waved(amplitude: number, periodPx: number, degrees: number, seed: number): Float32Array {
  const random = new Random(seed);
  const turn = (degrees * Math.PI) / 180;
  return Float32Array.from({ length: side * side }, (_, i) => {
    const [x, y] = [i % side, Math.floor(i / side)];
    const r2 = ((x - (side - 1) / 2) ** 2 + (y - (side - 1) / 2) ** 2) / ((side * side) / 2);
    const wave = Math.cos((2 * Math.PI * (x * Math.cos(turn) + y * Math.sin(turn))) / periodPx);
    return (1 + amplitude * wave) * (1 - 0.15 * r2) + 0.01 * random.gauss();
  });
}

test("fringes of 0.3 % and of 0.05 % in 1 % noise: period, direction, amplitude, significance", () => {
  const one = check("fringe.detect");
  const cases: [number, number, number, number][] = one.inputs.cases;
  const searches = cases.map((each) => findFringes(fft, waved(...each), everywhere, shape));
  const peaks = searches.map(({ strongest }) => strongest!);
  one.agrees(
    "period",
    peaks.map((peak) => peak.periodPx),
  );
  one.agrees(
    "angleDeg",
    peaks.map((peak) => peak.degrees),
  );
  one.agrees(
    "amplitude",
    peaks.map((peak) => peak.amplitude),
  );
  one.agrees(
    "significance",
    peaks.map((peak) => peak.significance),
  );
  expect(searches.map(({ found }) => found !== undefined)).toEqual(
    cases.map(([amplitude]) => amplitude > 0.001),
  );
});

/** Sixty pictures tell the median to the listed tolerance; `npm run campaign listed` takes all 300, for the tail too. */
test("strongest peaks of pictures of noise alone are those of an exponential distribution", () => {
  const one = (isWholeList ? check : checkInPart)("fringe.false-alarm");
  const peaks = Array.from({ length: isWholeList ? one.inputs.noiseImages : 60 }, (_, k) => {
    const random = new Random(900 + k);
    const noise = Float32Array.from(everywhere, () => 1 + 0.01 * random.gauss());
    return findFringes(fft, noise, everywhere, shape).strongest!.significance;
  });
  const shares = Object.keys(one.expected.theory);
  const at = (value: (share: number) => number) =>
    Object.fromEntries(shares.map((share) => [share, value(Number(share))]));
  one.agrees(
    "theory",
    at((share) => peakOfChance(1 - share, wavesLookedAt(shape))),
  );
  for (const share of isWholeList ? shares : ["0.5"])
    one.agrees(`maxSignificanceQuantiles.${share}`, quantile(peaks, Number(share))!);
  expect(Math.max(...peaks)).toBeLessThan(22);
});

test("spacing of fringes: of a wedge in glass, of a tilt in air, and how far apart their faces may be", () => {
  const wedge = check("fringe.wedge");
  const arcsec = Math.PI / 180 / 3600;
  wedge.agrees(
    "spacingMm",
    wedge.inputs.alphaArcsec.map((alpha: number) =>
      wedgeAndSpacing(wedge.inputs.lambdaNm, wedge.inputs.n, alpha * arcsec),
    ),
  );
  const tilt = check("fringe.tilt");
  tilt.agrees(
    "spacingUm",
    tilt.inputs.tiltDeg.map((degrees: number) => spacingAtTiltMicron(tilt.inputs.lambdaNm, degrees)),
  );
  const coherence = check("fringe.coherence");
  coherence.agrees(
    "lengthMm",
    coherence.inputs.fwhmAngstrom.map((width: number) => coherenceLengthMm(coherence.inputs.lambdaNm, width)),
  );
});
