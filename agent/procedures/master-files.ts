import { existsSync, mkdirSync } from "node:fs";
import { dirname, join, parse } from "node:path";
import type { Card } from "../../drivers/formats/fits-card.ts";
import { utcText, writeFitsFile } from "../../drivers/formats/fits-write.ts";
import type { Frame } from "../../drivers/roles/camera.ts";
import type { Master } from "../imaging/combining/finish-master.ts";
import type { Flat } from "../imaging/combining/normalise-flat.ts";
import { RunningMoments } from "../imaging/noise/running-moments.ts";
import type { ExposureSpan, SeriesFigures } from "../masters/master-cards.ts";
import { darkHdus, flatHdus } from "../masters/master-hdus.ts";
import type { StepFindings } from "./findings.ts";
import type { TrainSeen, Workbench } from "./step.ts";

/** A run's first master has the plain name; later ones are numbered, so that nothing is written over. */
const darkMasterFile = "dark-master.fits";
const flatMasterFile = "flat-master.fits";

/** What frames of a series have in common, and when each was taken, for the headers of what is made of them. */
export class SeriesNotes {
  readonly spans: ExposureSpan[] = [];
  #first: Frame | undefined;
  readonly #celsius = new RunningMoments();

  add(frame: Frame): void {
    const { startedUtcMs: beginUtcMs, exposureSeconds, sensorCelsius } = frame;
    this.#first ??= { ...frame, pixelsAdu: new Uint16Array(0) };
    this.spans.push({ beginUtcMs, endUtcMs: beginUtcMs + exposureSeconds * 1000 });
    if (sensorCelsius !== undefined) this.#celsius.add(sensorCelsius);
  }

  /** Mean over the frames that tell it. */
  get sensorCelsius(): number | undefined {
    return this.#celsius.count > 0 ? this.#celsius.mean : undefined;
  }

  /** The first one without its pixels, at the mean temperature. @throws when there is none */
  get usualFrame(): Frame {
    if (!this.#first) throw new Error("the series has no frame");
    const { sensorCelsius: _ofFirst, ...frame } = this.#first;
    const { sensorCelsius } = this;
    return sensorCelsius === undefined ? frame : { ...frame, sensorCelsius };
  }
}

/** The name itself, or with the first number from 2 that is free. @param name below the run's folder */
export function unusedFileName(bench: Workbench, name: string): string {
  const { dir, name: stem, ext } = parse(name);
  let free = name;
  for (let next = 2; existsSync(join(bench.folder, free)); next++) free = join(dir, `${stem}-${next}${ext}`);
  return free;
}

/** @returns the file, below the run's folder */
export function writeDarkMaster(bench: Workbench, master: Master, notes: SeriesNotes): string {
  const file = unusedFileName(bench, darkMasterFile);
  const { spans } = notes;
  write(bench, file, darkHdus(master, { cards: frameCards(bench, notes.usualFrame), spans }));
  return file;
}

/** @returns the file, below the run's folder */
export function writeFlatMaster(
  bench: Workbench,
  flat: Flat,
  series: SeriesFigures,
  notes: SeriesNotes,
  about: { readonly blur: string; readonly darkFile: string; readonly verdict: string },
): string {
  const file = unusedFileName(bench, flatMasterFile);
  const { blur, darkFile, verdict } = about;
  const origin = {
    cards: frameCards(bench, notes.usualFrame),
    spans: notes.spans,
    darkFile,
    more: [
      { keyword: "BLUR", value: blur, comment: "how the Sun was blurred away" },
      { keyword: "VERDICT", value: verdict, comment: "what its own proof says" },
    ],
  };
  write(bench, file, flatHdus(flat, series, origin));
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
function conversionCards({ conversion, statedConversion }: StepFindings, gain: number | undefined): Card[] {
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
