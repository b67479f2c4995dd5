import { existsSync, mkdirSync } from "node:fs";
import { dirname, join, parse } from "node:path";
import type { Card } from "../../drivers/formats/fits-card.ts";
import { utcText, writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { given } from "../../drivers/kit/given.ts";
import type { Camera, Frame } from "../../drivers/roles/camera.ts";
import { shiftMosaic } from "../../drivers/roles/colour-mosaic.ts";
import type { Master } from "../imaging/combining/finish-master.ts";
import type { Flat } from "../imaging/combining/normalise-flat.ts";
import type { LightCorrection } from "../imaging/light/correct-light.ts";
import type { LightFactors } from "../imaging/light/light-factors.ts";
import { RunningMoments } from "../imaging/noise/running-moments.ts";
import type { ErrorBudget } from "../imaging/proof/error-budget.ts";
import type { LightProof } from "../imaging/proof/light-figures.ts";
import type { CurveOfFlat } from "../imaging/proof/response-figures.ts";
import { budgetCards } from "../masters/budget-cards.ts";
import { correctionCards, factorHdus } from "../masters/correction-hdus.ts";
import { creatorCard } from "../masters/creator-card.ts";
import { lightCards } from "../masters/light-cards.ts";
import type { ExposureSpan, SeriesFigures } from "../masters/master-cards.ts";
import { darkHdus, flatHdus } from "../masters/master-hdus.ts";
import { responseCards } from "../masters/response-cards.ts";
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
    return { ...this.#first, ...given({ sensorCelsius: this.sensorCelsius }) };
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
  const cards = frameCards(bench, notes.usualFrame);
  write(bench, file, darkHdus(master, { cards, spans: notes.spans }));
  return file;
}

/** @returns the file, below the run's folder */
export function writeFlatMaster(
  bench: Workbench,
  flat: Flat,
  series: SeriesFigures,
  notes: SeriesNotes,
  about: {
    readonly blur: string;
    readonly darkFile: string;
    readonly verdict: string;
    readonly light: LightProof;
    readonly response?: CurveOfFlat;
    /** Full scale. */
    readonly topAdu: number;
    readonly budget: ErrorBudget;
    readonly correction?: LightCorrection;
    readonly factors?: LightFactors;
  },
): string {
  const file = unusedFileName(bench, flatMasterFile);
  const { blur, darkFile, verdict } = about;
  const cards = frameCards(bench, notes.usualFrame);
  const more = [
    ...card("BLUR", blur, "how the Sun was blurred away"),
    ...card("VERDICT", verdict, "what its own proof says"),
    ...lightCards(about.light),
    ...(about.correction ? correctionCards(about.correction) : []),
    ...(about.response ? responseCards(about.response, about.topAdu) : []),
    ...budgetCards(about.budget),
  ];
  const hdus = flatHdus(flat, series, { cards, spans: notes.spans, darkFile, more });
  const factors = about.factors ? factorHdus(flat.shape, about.factors) : [];
  write(bench, file, [...hdus, ...factors]);
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
    ...card("IMAGETYP", imageType),
    ...frameCards(bench, frame),
    ...more,
    ...card("BUNIT", "adu"),
    creatorCard,
  ];
  write(bench, file, [{ pixels: frame.pixelsAdu, shape: [frame.heightPx, frame.widthPx], cards }]);
}

function write(bench: Workbench, file: string, hdus: Parameters<typeof writeFitsFile>[1]): void {
  const path = join(bench.folder, file);
  mkdirSync(dirname(path), { recursive: true });
  const [first, ...others] = hdus;
  const cards = [...(first!.cards ?? []), ...noteCards(bench.fileNote)];
  writeFitsFile(path, [{ ...first!, cards }, ...others], {
    writtenUtcMs: bench.clock.nowMs(),
    replace: true,
  });
}

function noteCards(note: string | undefined): readonly Card[] {
  return note === undefined ? [] : [{ keyword: "COMMENT", value: note }];
}

function frameCards({ rig, optics, train, findings }: Workbench, frame: Frame): Card[] {
  const { gain, offset, sensorCelsius } = frame;
  return [
    ...card("DATE-OBS", utcText(frame.startedUtcMs), "UTC, start of the first exposure"),
    ...card("EXPTIME", frame.exposureSeconds, "[s] of one frame"),
    ...card("GAIN", gain, "the camera's own setting"),
    ...card("OFFSET", offset, "the camera's own setting"),
    ...card("CCD-TEMP", sensorCelsius && Number(sensorCelsius.toFixed(2)), "[Celsius] sensor"),
    ...conversionCards(findings, gain),
    ...card("INSTRUME", rig.camera.name),
    ...card("FOCALLEN", optics.focalLengthMm, "[mm]"),
    ...card("APTDIA", optics.apertureMm, "[mm]"),
    ...card("WAVELEN", optics.wavelengthNm, "[nm]"),
    ...card("PIXSIZE", rig.camera.limits.pixelMicron, "[um] unbinned"),
    ...colourCards(rig.camera.limits, train),
    ...(train ? trainCards(train) : []),
  ];
}

/** Of pixels of one colour which they are; of a whole mosaic its pattern from the frame's own first pixel. */
function colourCards({ colour, colourFilterArray: array }: Camera["limits"], train?: TrainSeen): Card[] {
  if (array === undefined) return [];
  if (colour !== undefined)
    return [
      ...card("CFACOLOR", colour, "the pixels of this colour of the filter array"),
      ...card("CFATYPE", array, "the filter array, from the sensor's first pixel"),
    ];
  const { xPx = 0, yPx = 0 } = train?.regionAt ?? {};
  if ((train?.binning ?? 1) !== 1) return []; // colours are mixed, or not, as the camera likes
  return [
    ...card("BAYERPAT", shiftMosaic(array, xPx, yPx), "the filter array, from the first pixel"),
    ...card("XBAYROFF", 0),
    ...card("YBAYROFF", 0),
  ];
}

/** Only at the gain at which it was measured; where nothing was, what the camera's driver says of that gain. */
function conversionCards({ conversion, statedConversion }: StepFindings, gain: number | undefined): Card[] {
  if (conversion && conversion.gain === gain) {
    const { electronsPerAdu, darkNoiseElectrons, from = "a flat's frames" } = conversion;
    return [
      ...gainCard(electronsPerAdu, `measured on ${from}`),
      ...card("RDNOISE", Number(darkNoiseElectrons.toPrecision(4)), "[e-] of a dark's pixel"),
    ];
  }
  if (statedConversion === undefined || statedConversion.gain !== gain) return [];
  return gainCard(statedConversion.electronsPerAdu, "as the camera's driver states it");
}

function gainCard(electronsPerAdu: number, from: string): Card[] {
  return card("EGAIN", Number(electronsPerAdu.toPrecision(5)), `[e-/adu] ${from}`);
}

/** What `match` goes by before it looks at the dust. */
function trainCards({ mark, binning, regionAt, filter, rotatorDegrees }: TrainSeen): Card[] {
  return [
    ...card("TRAINMRK", mark, "of the assembly of the optical train"),
    ...card("XBINNING", binning),
    ...card("YBINNING", binning),
    ...card("XORGSUBF", regionAt?.xPx, "[px] of the region, unbinned"),
    ...card("YORGSUBF", regionAt?.yPx, "[px] of the region, unbinned"),
    ...card("FILTER", filter),
    ...card("ROTATANG", rotatorDegrees, "[deg] as the rotator tells it"),
  ];
}

/** None for what is not known. */
function card(keyword: string, value: Card["value"] | undefined, comment?: string): Card[] {
  return value === undefined ? [] : [{ keyword, value, ...given({ comment }) }];
}
