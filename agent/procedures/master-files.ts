import { existsSync, mkdirSync } from "node:fs";
import { dirname, join, parse } from "node:path";
import { ccdHdus } from "../../drivers/formats/ccd-image.ts";
import type { Card } from "../../drivers/formats/fits-card.ts";
import { utcText, writeFitsFile } from "../../drivers/formats/fits-write.ts";
import type { Frame } from "../../drivers/roles/camera.ts";
import type { Master } from "../imaging/combining/finish-master.ts";
import { maskBits } from "../imaging/combining/mask-bits.ts";
import type { Flat } from "../imaging/combining/normalise-flat.ts";
import type { Findings } from "./findings.ts";
import type { TrainSeen, Workbench } from "./step.ts";

/** What all frames of a series have in common, for the headers of what is made of them. */
export interface SeriesFacts {
  readonly first: Frame;
  readonly lastStartedUtcMs: number;
  readonly sensorCelsius: number | undefined;
}

/** A run's first master has the plain name; later ones are numbered, so that nothing is written over. */
const darkMasterFile = "dark-master.fits";
const flatMasterFile = "flat-master.fits";

/** Collects `SeriesFacts` while frames come in. */
export class SeriesNotes {
  #first: Frame | undefined;
  #lastStartedUtcMs = 0;
  #celsius = 0;
  #celsiusCount = 0;

  add(frame: Frame): void {
    this.#first ??= { ...frame, pixelsAdu: new Uint16Array(0) };
    this.#lastStartedUtcMs = frame.startedUtcMs;
    if (frame.sensorCelsius !== undefined) {
      this.#celsius += frame.sensorCelsius;
      this.#celsiusCount++;
    }
  }

  get facts(): SeriesFacts {
    if (!this.#first) throw new Error("the series has no frame");
    return {
      first: this.#first,
      lastStartedUtcMs: this.#lastStartedUtcMs,
      sensorCelsius: this.#celsiusCount > 0 ? this.#celsius / this.#celsiusCount : undefined,
    };
  }
}

/** The name itself, or with the first number from 2 that is free. @param name below the run's folder */
export function freeName(bench: Workbench, name: string): string {
  const { dir, name: stem, ext } = parse(name);
  let free = name;
  for (let next = 2; existsSync(join(bench.folder, free)); next++) free = join(dir, `${stem}-${next}${ext}`);
  return free;
}

/** @returns the file, below the run's folder */
export function writeDarkMaster(bench: Workbench, master: Master, facts: SeriesFacts): string {
  const { widthPx, heightPx } = master.shape;
  const cards: Card[] = [
    { keyword: "IMAGETYP", value: "Master Dark" },
    ...seriesCards(bench, facts, master.frameCount),
  ];
  const image = { widthPx, heightPx, data: master.meanAdu, sigma: master.sigmaAdu, mask: master.mask };
  const file = freeName(bench, darkMasterFile);
  write(bench, file, ccdHdus(image, { unit: "adu", cards, maskCards }));
  return file;
}

/**
 * The flat as every FITS reader takes it in: mean 1 over the lit field, UNCERT one sigma, MASK flags.
 * @returns the file, below the run's folder
 */
export function writeFlatMaster(
  bench: Workbench,
  flat: Flat,
  facts: SeriesFacts,
  about: {
    readonly frameCount: number;
    readonly blur: string;
    readonly darkFile: string;
    readonly verdict: string;
  },
): string {
  const { widthPx, heightPx } = flat.shape;
  const cards: Card[] = [
    { keyword: "IMAGETYP", value: "Master Flat" },
    ...seriesCards(bench, facts, about.frameCount),
    {
      keyword: "FLATLEVL",
      value: Number(flat.levelAdu.toPrecision(8)),
      comment: "[adu] level above the dark that is 1 here",
    },
    { keyword: "BLUR", value: about.blur, comment: "how the Sun was blurred away" },
    { keyword: "VERDICT", value: about.verdict, comment: "what its own proof says" },
    { keyword: "DARKFILE", value: about.darkFile, comment: "dark that was taken off" },
  ];
  const image = { widthPx, heightPx, data: flat.gain, sigma: flat.sigma, mask: flat.mask };
  const file = freeName(bench, flatMasterFile);
  write(bench, file, ccdHdus(image, { unit: "", cards, maskCards }));
  return file;
}

/** A frame as the camera gave it. @param file below the run's folder */
export function writeRawFrame(
  bench: Workbench,
  file: string,
  frame: Frame,
  imageType: string,
  more: readonly Card[] = [],
): void {
  const cards: Card[] = [
    { keyword: "IMAGETYP", value: imageType },
    ...frameCards(bench, frame),
    ...more,
    { keyword: "BUNIT", value: "adu" },
    { keyword: "SWCREATE", value: "evenfield" },
  ];
  write(bench, file, [{ pixels: frame.pixelsAdu, shape: [frame.heightPx, frame.widthPx], cards }]);
}

function write(bench: Workbench, file: string, hdus: Parameters<typeof writeFitsFile>[1]): void {
  const path = join(bench.folder, file);
  mkdirSync(dirname(path), { recursive: true });
  writeFitsFile(path, hdus, { writtenUtcMs: bench.clock.nowMs(), replace: true });
}

function seriesCards(bench: Workbench, facts: SeriesFacts, frameCount: number): Card[] {
  const { first, lastStartedUtcMs, sensorCelsius } = facts;
  const { sensorCelsius: _ofFirst, ...frame } = first;
  return [
    ...frameCards(bench, { ...frame, ...(sensorCelsius === undefined ? {} : { sensorCelsius }) }),
    {
      keyword: "DATE-END",
      value: utcText(lastStartedUtcMs + first.exposureSeconds * 1000),
      comment: "UTC, end of the last exposure",
    },
    { keyword: "NCOMBINE", value: frameCount, comment: "number of frames combined" },
    { keyword: "SWCREATE", value: "evenfield" },
  ];
}

function frameCards({ rig, optics, train, findings }: Workbench, frame: Frame): Card[] {
  const { gain, offset, sensorCelsius } = frame;
  return [
    { keyword: "DATE-OBS", value: utcText(frame.startedUtcMs), comment: "UTC, start of the first exposure" },
    { keyword: "EXPTIME", value: frame.exposureSeconds, comment: "[s] of one frame" },
    ...(gain === undefined ? [] : [{ keyword: "GAIN", value: gain, comment: "the camera's own setting" }]),
    ...(offset === undefined
      ? []
      : [{ keyword: "OFFSET", value: offset, comment: "the camera's own setting" }]),
    ...(sensorCelsius === undefined
      ? []
      : [{ keyword: "CCD-TEMP", value: Number(sensorCelsius.toFixed(2)), comment: "[Celsius] sensor" }]),
    ...conversionCards(findings, gain),
    { keyword: "INSTRUME", value: rig.camera.name },
    { keyword: "FOCALLEN", value: optics.focalLengthMm, comment: "[mm]" },
    { keyword: "APTDIA", value: optics.apertureMm, comment: "[mm]" },
    { keyword: "WAVELEN", value: optics.wavelengthNm, comment: "[nm]" },
    { keyword: "PIXSIZE", value: rig.camera.limits.pixelMicron, comment: "[um] unbinned" },
    ...(train ? trainCards(train) : []),
  ];
}

/** Only at the gain at which it was measured; where nothing was, what the camera's driver says of that gain. */
function conversionCards({ conversion, statedConversion }: Findings, gain: number | undefined): Card[] {
  if (conversion && conversion.gain === gain) {
    const { electronsPerAdu, darkNoiseElectrons, from = "a flat's frames" } = conversion;
    return [
      egain(electronsPerAdu, `measured on ${from}`),
      {
        keyword: "RDNOISE",
        value: Number(darkNoiseElectrons.toPrecision(4)),
        comment: "[e-] of a dark's pixel",
      },
    ];
  }
  if (statedConversion === undefined || statedConversion.gain !== gain) return [];
  return [egain(statedConversion.electronsPerAdu, "as the camera's driver states it")];
}

function egain(electronsPerAdu: number, from: string): Card {
  return { keyword: "EGAIN", value: Number(electronsPerAdu.toPrecision(5)), comment: `[e-/adu] ${from}` };
}

/** What `match` goes by before it looks at the dust. */
function trainCards({ mark, binning, regionAt, filter, rotatorDegrees }: TrainSeen): Card[] {
  return [
    { keyword: "TRAINMRK", value: mark, comment: "of the assembly of the optical train" },
    ...(binning === undefined
      ? []
      : [
          { keyword: "XBINNING", value: binning },
          { keyword: "YBINNING", value: binning },
        ]),
    ...(regionAt === undefined
      ? []
      : [
          { keyword: "XORGSUBF", value: regionAt.xPx, comment: "[px] of the region, unbinned" },
          { keyword: "YORGSUBF", value: regionAt.yPx, comment: "[px] of the region, unbinned" },
        ]),
    ...(filter === undefined ? [] : [{ keyword: "FILTER", value: filter }]),
    ...(rotatorDegrees === undefined
      ? []
      : [{ keyword: "ROTATANG", value: rotatorDegrees, comment: "[deg] as the rotator tells it" }]),
  ];
}

const maskCards: readonly Card[] = [
  { keyword: "COMMENT", value: "0: a pixel to be trusted; otherwise the sum of" },
  { keyword: "COMMENT", value: `${maskBits.unhealthy}: hot, dead, stuck or unsteady` },
  { keyword: "COMMENT", value: `${maskBits.clipped}: clipped in more than one frame in fifty` },
  { keyword: "COMMENT", value: `${maskBits.unlit}: outside the lit field` },
  { keyword: "COMMENT", value: `${maskBits.rejected}: rejected in most frames` },
];
