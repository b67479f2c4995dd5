import { mkdirSync, statSync } from "node:fs";
import { join, resolve } from "node:path";
import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { AppliedCounts } from "../../imaging/combining/apply.ts";
import { type Calibration, readCalibration } from "../flat-file.ts";
import { cubeSource, type FrameSource, isCube, isSerName, openSer } from "../frame-source.ts";
import { hearStop } from "../hear-stop.ts";
import { openFrames } from "../image-file.ts";
import { asFailedFile, explainFileErrors, type FailedFile, InputError } from "../input-error.ts";
import { checkOutput, plainName } from "../output-name.ts";
import { checkNotDivided, isDone, listWarnings, originCards } from "./apply-origin.ts";
import { applyToSequence, type OnFrame } from "./apply-sequence.ts";
import { FittedCalibration } from "./fitted-calibration.ts";
import { divideCopy, divideInPlace, storedDivisionFor } from "./image-result.ts";
import { checkImageDark, type Despites } from "./refusals.ts";

export interface ApplyRequest {
  readonly flatFile: string;
  readonly darkFile?: string;
  readonly files: readonly string[];
  /** Made if it is not there. A result has the name of its image. */
  readonly outputFolder: string;
  /** FITS of that type; without it FITS becomes float32, and SER becomes SER of the same kind. */
  readonly as?: "float32" | "uint16";
  readonly replace: boolean;
  /** What is done all the same though it would be refused. Default nothing. */
  readonly despite?: Despites;
  readonly writtenUtcMs: number;
  /** Ends it between two images, or two frames of a sequence, which goes on from there the next time. */
  readonly signal?: AbortSignal;
}

/** `done before`: the result of the same image, flat and dark is there already and was left alone. */
export interface AppliedFile extends AppliedCounts {
  readonly file: string;
  readonly output: string;
  readonly ended: "written" | "done before";
  readonly warnings: readonly string[];
  /** Sequences only; see `AppliedSequence`. */
  readonly frameCount?: number;
  readonly fromFrame?: number;
}

export interface ApplyResult {
  readonly flat: string;
  readonly dark?: string;
  readonly as?: "float32" | "uint16";
  readonly applied: readonly AppliedFile[];
  readonly failed: readonly FailedFile[];
}

/** Bytes of images between two sweeps. */
const sweepEveryBytes = 4_000_000;
/** Images divided in place between two sweeps: they leave but their headers behind. */
const inPlaceImages = 25;

/**
 * Calibrates images one by one, sequences (FITS cubes, SER) frame by frame: dark off, divided by the flat, level kept, masked pixels filled from their
 * neighbours. A file that cannot be used is told and left out; one that was done before is not done again.
 * @param onFile after each file
 * @param onFrame after each frame of the sequence that is the file of this index
 * @throws InputError if flat, dark or the folder cannot be used, and the signal's reason
 */
export async function applyFlat(
  request: ApplyRequest,
  onFile: (file: AppliedFile | FailedFile, done: number, of: number) => void,
  onFrame: (fileIndex: number, done: number, of: number) => void = () => {},
): Promise<ApplyResult> {
  const calibration = new FittedCalibration(
    readCalibration(request.flatFile, request.darkFile, request.despite),
  );
  if (statSync(request.outputFolder, { throwIfNoEntry: false })?.isFile()) {
    throw new InputError(
      `${request.outputFolder} is a file, and results go into a folder.`,
      "Name a folder with -o.",
    );
  }
  explainFileErrors(request.outputFolder, () => mkdirSync(request.outputFolder, { recursive: true }));
  const applied: AppliedFile[] = [];
  const failed: FailedFile[] = [];
  const sweeps = new Sweeps();
  const namesakes = new Map<string, string>();
  for (const [index, path] of request.files.entries()) {
    await hearStop(request.signal);
    const namesake = namesakes.get(plainName(path));
    namesakes.set(plainName(path), namesake ?? path);
    const ended =
      namesake !== undefined && resolve(namesake) !== resolve(path)
        ? sameName(path, namesake)
        : await applyToOne(path, request, calibration, sweeps, (done, of) => onFrame(index, done, of)).catch(
            (error) => asFailedFile(error, path),
          );
    if ("ended" in ended) applied.push(ended);
    else failed.push(ended);
    onFile(ended, index + 1, request.files.length);
  }
  return {
    flat: request.flatFile,
    ...(request.darkFile === undefined ? {} : { dark: request.darkFile }),
    ...(request.as === undefined ? {} : { as: request.as }),
    applied,
    failed,
  };
}

function sameName(path: string, namesake: string): FailedFile {
  return {
    file: path,
    happened: `${path} would be written over the result of ${namesake}, which has the same name.`,
    whatToDo: "Apply it by itself, into another folder.",
  };
}

async function applyToOne(
  path: string,
  request: ApplyRequest,
  calibration: FittedCalibration,
  sweeps: Sweeps,
  onFrame: OnFrame,
): Promise<AppliedFile> {
  const sequence = isSerName(path) ? openSer(path) : undefined;
  if (sequence !== undefined) return applyToFrames(sequence, request, calibration, onFrame);
  const { file, image } = openFrames(path);
  if (isCube(image)) return applyToFrames(cubeSource(file, image), request, calibration, onFrame);
  using _ = file;
  return applyToImage(image, request, calibration.for(image), sweeps);
}

async function applyToFrames(
  source: FrameSource,
  request: ApplyRequest,
  calibration: FittedCalibration,
  onFrame: OnFrame,
): Promise<AppliedFile> {
  using _ = source;
  const inputs = inputsOf(source.path, request);
  return {
    file: source.path,
    ...(await applyToSequence(source, { ...request, inputs }, calibration.for(source), onFrame)),
  };
}

/** A result is never written over what it is made from. */
function inputsOf(path: string, { flatFile, darkFile }: ApplyRequest): string[] {
  return [path, flatFile, ...(darkFile === undefined ? [] : [darkFile])];
}

function applyToImage(
  image: FitsFileImage,
  request: ApplyRequest,
  calibration: Calibration,
  sweeps: Sweeps,
): AppliedFile {
  checkNotDivided(image);
  const { path } = image;
  const labelled = { path, header: image.header, type: image.layout.type };
  checkImageDark(labelled, calibration.dark, request.despite ?? new Set());
  const as = request.as ?? "float32";
  const stored = storedDivisionFor(image, calibration);
  sweeps.after(
    stored ? sweepEveryBytes / inPlaceImages : image.rowCount * image.widthPx * image.layout.bytesPerPixel,
  );
  const result = stored ? divideInPlace(stored, image, as, calibration) : divideCopy(image, as, calibration);
  const rawSum = String(result.rawSum);
  const applied = { file: path, output: outputOf(path, request) };
  const origin = originCards(path, rawSum, calibration);
  const warnings = listWarnings(image, rawSum, calibration);
  if (!request.replace && isDone(applied.output, origin, as)) return { ...applied, ...doneBefore, warnings };
  checkOutput(applied.output, inputsOf(path, request), request.replace);
  const { counts, write } = result.divide();
  explainFileErrors(applied.output, () => write(applied.output, origin, request));
  return { ...applied, ended: "written", ...counts, warnings };
}

const doneBefore = { ended: "done before", mendedPx: 0, leftPx: 0, clampedPx: 0 } as const;

function outputOf(path: string, { outputFolder }: ApplyRequest): string {
  return join(outputFolder, plainName(path));
}

/** The engine sees little of what large arrays take and would let dozens of images pile up. */
class Sweeps {
  #unsweptBytes = 0;

  after(bytes: number): void {
    this.#unsweptBytes += bytes;
    if (this.#unsweptBytes < sweepEveryBytes) return;
    Bun.gc(true);
    this.#unsweptBytes = 0;
  }
}
