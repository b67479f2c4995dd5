import { expect, test } from "vitest";
import { converterCodes, wordOf } from "../../agent/imaging/exposure/converter-codes.ts";
import { countCodes } from "../../agent/imaging/exposure/histogram.ts";
import { photonTransferFromPair } from "../../agent/imaging/noise/photon-transfer.ts";
import {
  meanAdu,
  sensorFigures,
  signalElectrons,
  varianceAdu2,
} from "../../agent/imaging/noise/sensor-model.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";

test("conversion and read noise from two flats and two biases, six pixels by hand", () => {
  const one = check("ptc.two-frame");
  const { F1, F2, B1, B2 } = one.inputs;
  const frame = (rows: number[][]) => Uint16Array.from(rows.flat());
  const result = photonTransferFromPair({ flats: [frame(F1), frame(F2)], biases: [frame(B1), frame(B2)] })!;
  one.agrees("gainElectronPerDn", result.electronsPerAdu);
  one.agrees("readNoiseElectrons", result.readNoiseElectrons);
  one.agrees("varDiffFlat", 2 * result.flatVarianceAdu2);
  one.agrees("varDiffBias", 2 * result.biasVarianceAdu2);
});

test("a synthetic pair gives its conversion back", () => {
  const one = check("ptc.synthetic");
  const { signalElectrons: signal, n } = one.inputs;
  const [flat1, flat2] = (one.inputs.seeds as number[]).map((seed) => {
    const random = new Random(seed);
    return Uint16Array.from({ length: n }, () =>
      Math.round(100 + 0.25 * (signal + Math.sqrt(signal + 4) * random.gauss())),
    );
  });
  // Biases of the level and variance that the listed gain goes by, 100 and 1/3, to the digit: ±1 on two pixels of three.
  const bias1 = new Uint16Array(n).fill(100);
  const bias2 = new Uint16Array(n).fill(100);
  for (let i = 0; i < (2 / 3) * (n - 1); i++) bias1[i]! += i % 2 === 0 ? 1 : -1;
  const result = photonTransferFromPair({ flats: [flat1!, flat2!], biases: [bias1, bias2] })!;
  expect(result.biasAdu).toBe(100);
  expect(result.biasVarianceAdu2).toBeCloseTo(1 / 3, 12);
  one.agrees("mean", result.flatAdu);
  one.agrees("varDiffHalf", (result.flatVarianceAdu2 * (n - 1)) / n); // listed with n
  one.agrees("gainEstimate", 1 / result.electronsPerAdu);
  // The variance of biases that were rounded too: both roundings cancel in the gain.
  const random = new Random(91);
  const bias = () => Uint16Array.from({ length: n }, () => Math.round(100 + 0.25 * 2 * random.gauss()));
  const rounded = photonTransferFromPair({ flats: [flat1!, flat2!], biases: [bias(), bias()] })!;
  expect(1 / rounded.electronsPerAdu).toBeCloseTo(0.25, 2);
  expect(rounded.readNoiseElectrons).toBeCloseTo(Math.hypot(2, 4 / Math.sqrt(12)), 1); // rounding is noise too
});

test("the three ways in which 12 bits fill a 16-bit word", () => {
  const one = check("bitdepth.steps");
  const { bits, v } = one.inputs;
  const dialects = ["even steps", "top bits repeated", "rounded"] as const;
  const words = (dialect: (typeof dialects)[number]) =>
    v.map((value: number) => wordOf(dialect, bits, value)) as number[];
  one.agrees("codes", dialects.map(words));
  one.agrees(
    "steps",
    dialects.map((dialect) => {
      const steps = new Set<number>();
      for (let value = 1; value < 4096; value++)
        steps.add(wordOf(dialect, bits, value) - wordOf(dialect, bits, value - 1));
      return [...steps].sort((a, b) => a - b);
    }),
  );
  for (const dialect of dialects) {
    const some = Uint16Array.from({ length: 3000 }, (_, i) => wordOf(dialect, 12, 300 + ((i * 37) % 3700)));
    expect(converterCodes(countCodes(some))).toMatchObject({
      depthBits: 12,
      dialect,
      topAdu: words(dialect)[2],
    });
  }
});

test("mean and variance of the linear model over a photon transfer curve", () => {
  const one = check("ptc.table");
  const { gainDnPerElectron, readNoiseElectrons, pedestalDn } = one.inputs;
  const signals: number[] = one.inputs.signalElectrons;
  const sensor = {
    aduPerElectron: gainDnPerElectron,
    darkNoiseElectrons: readNoiseElectrons,
    pedestalAdu: pedestalDn,
  };
  one.agrees(
    "meanDn",
    signals.map((signal) => meanAdu(sensor, signal)),
  );
  one.agrees(
    "varianceDn2",
    signals.map((signal) => varianceAdu2(sensor, signal)),
  );
  for (const signal of signals)
    expect(signalElectrons(sensor, meanAdu(sensor, signal))).toBeCloseTo(signal, 9);
});

test("what follows for a sensor: smallest signal, dynamic range, best signal over noise", () => {
  const one = check("emva.derived");
  const { gainDnPerElectron, readNoiseElectrons, saturationElectrons } = one.inputs;
  const figures = sensorFigures(
    { aduPerElectron: gainDnPerElectron, darkNoiseElectrons: readNoiseElectrons, pedestalAdu: 0 },
    saturationElectrons,
  );
  one.agrees("darkVarianceDn2", figures.darkVarianceAdu2);
  one.agrees("minDetectableElectrons", figures.minDetectableElectrons);
  one.agrees("dynamicRangeDb", figures.dynamicRangeDb);
  one.agrees("snrMax", figures.snrMax);
  one.agrees("snrMaxDb", figures.snrMaxDb);
  one.agrees("snrMaxBit", figures.snrMaxBits);
});
