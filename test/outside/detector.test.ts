import { expect, test } from "vitest";
import { converterCodes, wordOf } from "../../agent/imaging/exposure/converter-codes.ts";
import { countCodes } from "../../agent/imaging/exposure/histogram.ts";
import { photonTransferFromPair } from "../../agent/imaging/noise/photon-transfer.ts";
import { meanAdu, sensorFigures, varianceAdu2 } from "../../agent/imaging/noise/sensor-model.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";

test("conversion and read noise from two flats and two biases, six pixels by hand", () => {
  const { inputs, expected, tolerance } = check("ptc.two-frame");
  const frame = (rows: number[][]) => Uint16Array.from(rows.flat());
  const result = photonTransferFromPair({
    flats: [frame(inputs.F1), frame(inputs.F2)],
    biases: [frame(inputs.B1), frame(inputs.B2)],
  })!;
  expect(Math.abs(result.electronsPerAdu - expected.gainElectronPerDn)).toBeLessThan(tolerance.abs);
  expect(Math.abs(result.readNoiseElectrons - expected.readNoiseElectrons)).toBeLessThan(tolerance.abs);
});

test("a synthetic pair gives its conversion back", () => {
  const { inputs, expected } = check("ptc.synthetic");
  const { signalElectrons: signal, n } = inputs;
  const [flat1, flat2] = (inputs.seeds as number[]).map((seed) => {
    const random = new Random(seed);
    return Uint16Array.from({ length: n }, () =>
      Math.round(100 + 0.25 * (signal + Math.sqrt(signal + 4) * random.gauss())),
    );
  });
  const sum = (frame: Uint16Array) => frame.reduce((total, value) => total + value, 0);
  expect((sum(flat1!) + sum(flat2!)) / (2 * n)).toBeCloseTo(expected.mean, 3);
  const random = new Random(91);
  const bias = () => Uint16Array.from({ length: n }, () => Math.round(100 + 0.25 * 2 * random.gauss()));
  const result = photonTransferFromPair({ flats: [flat1!, flat2!], biases: [bias(), bias()] })!;
  expect(1 / result.electronsPerAdu).toBeCloseTo(0.25, 2);
  expect(result.readNoiseElectrons).toBeCloseTo(Math.hypot(2, 4 / Math.sqrt(12)), 1); // rounding is noise too
});

test("the three ways in which 12 bits fill a 16-bit word", () => {
  const { inputs, expected } = check("bitdepth.steps");
  const dialects = ["even steps", "top bits repeated", "rounded"] as const;
  dialects.forEach((dialect, k) => {
    const words = inputs.v.map((value: number) => wordOf(dialect, inputs.bits, value));
    expect(words).toEqual(expected.codes[k]);
    const steps = new Set<number>();
    for (let value = 1; value < 4096; value++)
      steps.add(wordOf(dialect, inputs.bits, value) - wordOf(dialect, inputs.bits, value - 1));
    expect([...steps].sort((a, b) => a - b)).toEqual(expected.steps[k]);
    const some = Uint16Array.from({ length: 3000 }, (_, i) => wordOf(dialect, 12, 300 + ((i * 37) % 3700)));
    expect(converterCodes(countCodes(some))).toMatchObject({
      depthBits: 12,
      dialect,
      topAdu: expected.codes[k][2],
    });
  });
});

test("mean and variance of the linear model over a photon transfer curve", () => {
  const { inputs, expected, tolerance } = check("ptc.table");
  const sensor = {
    aduPerElectron: inputs.gainDnPerElectron,
    darkNoiseElectrons: inputs.readNoiseElectrons,
    pedestalAdu: inputs.pedestalDn,
  };
  inputs.signalElectrons.forEach((signal: number, k: number) => {
    expect(Math.abs(meanAdu(sensor, signal) - expected.meanDn[k])).toBeLessThan(tolerance.abs);
    expect(Math.abs(varianceAdu2(sensor, signal) - expected.varianceDn2[k])).toBeLessThan(tolerance.abs);
  });
});

test("what follows for a sensor: smallest signal, dynamic range, best signal over noise", () => {
  const { inputs, expected, tolerance } = check("emva.derived");
  const figures = sensorFigures(
    {
      aduPerElectron: inputs.gainDnPerElectron,
      darkNoiseElectrons: inputs.readNoiseElectrons,
      pedestalAdu: 0,
    },
    inputs.saturationElectrons,
  );
  const near = (value: number, wanted: number) =>
    expect(Math.abs(value / wanted - 1)).toBeLessThan(tolerance.rel);
  near(figures.darkVarianceAdu2, expected.darkVarianceDn2);
  near(figures.minDetectableElectrons, expected.minDetectableElectrons);
  near(figures.dynamicRangeDb, expected.dynamicRangeDb);
  near(figures.snrMax, expected.snrMax);
  near(figures.snrMaxDb, expected.snrMaxDb);
  near(figures.snrMaxBits, expected.snrMaxBit);
});
