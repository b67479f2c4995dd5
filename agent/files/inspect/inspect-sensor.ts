import { readLevel } from "../../imaging/exposure/frame-level.ts";
import { photonTransferFromPair } from "../../imaging/noise/photon-transfer.ts";
import {
  type LinearSensor,
  type SensorFigures,
  sensorFigures,
  signalElectrons,
} from "../../imaging/noise/sensor-model.ts";
import { tonalSteps } from "../../imaging/proof/tonal-steps.ts";
import type { Inspection } from "./inspect-file.ts";
import { type Picture, readPicture } from "./inspected-picture.ts";

/** What two flats and two darks of one setting tell of the sensor. */
export interface SensorFound extends SensorFigures {
  readonly flats: readonly [string, string];
  readonly darks: readonly [string, string];
  readonly electronsPerAdu: number;
  readonly electronsPerAduSigma: number;
  /** All noise of a dark frame's pixel, rounding in it [e-]. */
  readonly readNoiseElectrons: number;
  /** Light that the highest code stands for [e-]. */
  readonly saturationElectrons: number;
  /** What the flats' header says, where it says so. */
  readonly statedElectronsPerAdu?: number;
}

interface Single {
  readonly file: string;
  readonly picture: Picture;
  readonly pixels: Uint16Array;
  readonly meanAdu: number;
}

/** Light that changes by more from one flat to the other makes the field's unevenness look like noise. */
const sameLight = 0.005;
const clippedMost = 1e-4;

/**
 * Looks among inspected files for single 16-bit frames of one camera setting: two flats of nearly equal light and two
 * darks of their exposure, else biases.
 * @returns `undefined` when there are none, or they show no photon noise
 */
export function sensorOf(inspected: readonly Inspection[]): SensorFound | undefined {
  const flats = singles(inspected, ["flat"]);
  const reference = flats[0];
  if (reference === undefined || flats.length < 2) return undefined;
  const isAlike = (one: Single) => sameSetting(one, reference);
  const pair = closestPair(flats.filter(isAlike));
  if (pair === undefined) return undefined;
  const dark = singles(inspected, ["dark", "bias"]).filter(isAlike);
  const ofExposure = dark.filter(
    ({ picture }) => picture.header.number("EXPTIME") === reference.picture.header.number("EXPTIME"),
  );
  const biases = dark.filter(({ picture }) => picture.kind === "bias");
  const [first, second] = ofExposure.length >= 2 ? ofExposure : biases;
  if (first === undefined || second === undefined) return undefined;
  return judgePairs(pair, [first, second]);
}

function judgePairs(
  flats: readonly [Single, Single],
  darks: readonly [Single, Single],
): SensorFound | undefined {
  const transfer = photonTransferFromPair({
    flats: [flats[0].pixels, flats[1].pixels],
    biases: [darks[0].pixels, darks[1].pixels],
  });
  if (transfer === undefined) return undefined;
  const { electronsPerAdu, readNoiseElectrons, flatVarianceAdu2, biasVarianceAdu2, biasAdu } = transfer;
  const { stepAdu } = tonalSteps(flats[0].pixels);
  const aduPerElectron = 1 / electronsPerAdu;
  const sensor: LinearSensor = {
    aduPerElectron,
    darkNoiseElectrons: Math.sqrt(Math.max(0, biasVarianceAdu2 - stepAdu ** 2 / 12)) / aduPerElectron,
    pedestalAdu: biasAdu,
    stepAdu,
  };
  const saturationElectrons = signalElectrons(sensor, topAdu(flats[0]));
  const stated = flats[0].picture.header.number("EGAIN");
  // Of two variances, each known to the root of two over the number of pixels.
  const varianceSigma =
    Math.hypot(flatVarianceAdu2, biasVarianceAdu2) * Math.sqrt(2 / flats[0].pixels.length);
  return {
    flats: [flats[0].file, flats[1].file],
    darks: [darks[0].file, darks[1].file],
    electronsPerAdu,
    electronsPerAduSigma: (electronsPerAdu * varianceSigma) / (flatVarianceAdu2 - biasVarianceAdu2),
    readNoiseElectrons,
    saturationElectrons,
    ...sensorFigures(sensor, saturationElectrons),
    ...(stated === undefined ? {} : { statedElectronsPerAdu: stated }),
  };
}

function singles(inspected: readonly Inspection[], kinds: readonly Inspection["kind"][]): Single[] {
  return inspected.flatMap(({ file, kind, type, frameCount, figures }) => {
    if (!kinds.includes(kind) || type !== "uint16" || frameCount > 1) return [];
    const clipped = figures.find(({ id }) => id === "clipped")?.value ?? 0;
    if (clipped > clippedMost) return [];
    const { picture } = readPicture(file);
    const { pixels } = picture;
    if (!(pixels instanceof Uint16Array)) return [];
    return [
      { file, picture, pixels, meanAdu: pixels.reduce((sum, value) => sum + value, 0) / pixels.length },
    ];
  });
}

function sameSetting(a: Single, b: Single): boolean {
  const of = ({ picture: { header, widthPx, heightPx } }: Single) => [
    ...[widthPx, heightPx, header.number("GAIN"), header.number("OFFSET"), header.number("XBINNING")],
    header.text("INSTRUME")?.trim(),
  ];
  const other = of(b);
  return of(a).every((value, k) => value === other[k]);
}

/** The two flats whose light is most alike; `undefined` when none are alike enough. */
function closestPair(flats: readonly Single[]): [Single, Single] | undefined {
  const byLight = flats.toSorted((a, b) => a.meanAdu - b.meanAdu);
  let best: [Single, Single] | undefined;
  let least = sameLight;
  for (let k = 1; k < byLight.length; k++) {
    const [a, b] = [byLight[k - 1]!, byLight[k]!];
    const apart = (b.meanAdu - a.meanAdu) / b.meanAdu;
    if (apart > least) continue;
    least = apart;
    best = [a, b];
  }
  return best;
}

function topAdu({ picture: { widthPx, heightPx }, pixels }: Single): number {
  return readLevel(pixels, { widthPx, heightPx }, 0, { pedestalAdu: 0, topAdu: 65535 }).topAdu;
}

/** For people: a line each. */
export function sensorLines(sensor: SensorFound): string[] {
  const digits = (value: number) => String(Number(value.toPrecision(4)));
  const { statedElectronsPerAdu: stated, electronsPerAdu } = sensor;
  const off = stated === undefined ? 0 : Math.abs(electronsPerAdu / stated - 1);
  return [
    `sensor, from ${sensor.flats.join(", ")} and ${sensor.darks.join(", ")}:`,
    `          ${digits(electronsPerAdu)} ±${Number(sensor.electronsPerAduSigma.toPrecision(2))} electrons per adu` +
      (off > 0.1 ? `, where the flats' header says ${digits(stated!)}` : ""),
    `          read noise ${digits(sensor.readNoiseElectrons)} electrons; photons outweigh it from ${digits(sensor.photonNoiseFromAdu)} adu on`,
    `          full at ${digits(sensor.saturationElectrons)} electrons: dynamic range ${sensor.dynamicRangeDb.toFixed(1)} dB, ` +
      `at best ${digits(sensor.snrMax)} times its noise (${sensor.snrMaxBits.toFixed(1)} bits)`,
  ];
}
