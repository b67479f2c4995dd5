import { existsSync } from "node:fs";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { RunningSum } from "../../../drivers/formats/fits-checksum.ts";
import type { AppliedCounts } from "../../imaging/combining/apply.ts";
import type { Calibration } from "../flat-file.ts";
import type { FrameSource } from "../frame-source.ts";
import { hearStop } from "../hear-stop.ts";
import { asInputError, InputError } from "../input-error.ts";
import { checkNotDivided, listWarnings, originCards, wasAlreadyDivided } from "./apply-origin.ts";
import { resultCards } from "./calibrate.ts";
import { CalibratedFrames } from "./calibrated-frames.ts";
import { cubeResult } from "./cube-result.ts";
import { PartFile } from "./part-file.ts";
import { checkImageDark } from "./refusals.ts";
import type { SequenceRequest, SequenceResult } from "./sequence-result.ts";
import { readRecord, serResult } from "./ser-result.ts";

/** Mended and left pixels are those of one frame, clamped ones those of all frames from `fromFrame` on. */
export interface AppliedSequence extends AppliedCounts {
  readonly output: string;
  readonly ended: "written" | "done before";
  readonly frameCount: number;
  /** The frames before it are those of an earlier run that was broken off. */
  readonly fromFrame: number;
  readonly warnings: readonly string[];
}

/** How many frames of a sequence are done. */
export type OnFrame = (done: number, of: number) => void;

/**
 * Calibrates a sequence frame by frame; memory does not grow with its length. The result grows as `NAME.part`:
 * started again after a break, it goes on from there if the frames at both ends are what would be written.
 * @param onFrame after each frame
 * @throws InputError if it does not fit, or the result's name is taken; the signal's reason
 */
export async function applyToSequence(
  source: FrameSource,
  request: SequenceRequest,
  calibration: Calibration,
  onFrame: OnFrame,
): Promise<AppliedSequence> {
  checkNotDivided(source);
  const before = source.ser && readRecord(source.path)?.get("FLATFILE");
  if (typeof before === "string") throw wasAlreadyDivided(source.path, before);
  checkImageDark(source, calibration.dark, request.despite ?? new Set());
  const result = resultOf(source, request);
  const { output } = result;
  checkDarkLevel(source, result, calibration);
  const work = new CalibratedFrames(source, result, calibration);
  const facts = { output, frameCount: source.frameCount, warnings: source.warnings };
  if (!request.replace && existsSync(output) && result.isDone(originOf(work))) {
    return { ...facts, ended: "done before", fromFrame: 0, mendedPx: 0, leftPx: 0, clampedPx: 0 };
  }
  result.checkNames();
  work.load(0);
  const { counts, pedestalAdu } = work.develop();
  const cardsOf = ({ rawSum, clampedPx, fromFrame }: Omit<Written, "dataSum">): Card[] => [
    ...originCards(source.path, String(rawSum), calibration),
    ...resultCards({ counts: { ...counts, clampedPx: 0 }, pedestalAdu }, calibration),
    ...(result.as === "uint16"
      ? [
          {
            keyword: "CLAMPED",
            value: clampedPx,
            comment: `values held at an end, from frame ${fromFrame} on`,
          },
        ]
      : []),
  ];
  try {
    const headBytes = result.headBytes(cardsOf({ rawSum: 0, clampedPx: 0, fromFrame: 0 }));
    const { frameBytes } = result;
    using part = new PartFile(output, { headBytes, frameBytes, frameCount: source.frameCount });
    const written = await writeFrames(work, part, onFrame, request.signal);
    result.finish(part, { cards: cardsOf(written), dataSum: written.dataSum });
    const { clampedPx, fromFrame } = written;
    const warnings = [...facts.warnings, ...listWarnings(source, String(written.rawSum), calibration)];
    return { ...facts, ended: "written", ...counts, clampedPx, fromFrame, warnings };
  } catch (error) {
    throw asInputError(error, output);
  }
}

interface Written {
  readonly rawSum: number;
  readonly dataSum: number;
  readonly clampedPx: number;
  readonly fromFrame: number;
}

async function writeFrames(
  work: CalibratedFrames,
  part: PartFile,
  onFrame: OnFrame,
  signal: AbortSignal | undefined,
): Promise<Written> {
  const { frameCount } = part.layout;
  const { holdsSum } = work.result;
  const fromFrame = framesToKeep(work, part);
  const [rawSum, dataSum] = [new RunningSum(), new RunningSum()];
  const kept = new Uint8Array(part.layout.frameBytes);
  let clampedPx = 0;
  part.cutTo(fromFrame);
  for (let index = 0; index < frameCount; index++) {
    await hearStop(signal);
    rawSum.add(work.load(index));
    if (index < fromFrame) {
      if (holdsSum) part.readFrame(index, kept);
      if (holdsSum) dataSum.add(kept);
    } else {
      const { bytes, counts } = work.develop();
      part.writeFrame(index, bytes);
      if (holdsSum) dataSum.add(bytes);
      clampedPx += counts.clampedPx;
    }
    onFrame(index + 1, frameCount);
  }
  return { rawSum: rawSum.value, dataSum: dataSum.value, clampedPx, fromFrame };
}

/** How many frames of an earlier run hold: none if the first or the last of them would be written differently now. */
function framesToKeep(work: CalibratedFrames, part: PartFile): number {
  const count = part.safeFrameCount();
  const kept = Buffer.alloc(part.layout.frameBytes);
  const isSame = (index: number) => {
    part.readFrame(index, kept);
    work.load(index);
    return kept.equals(work.develop().bytes);
  };
  return count > 0 && isSame(0) && isSame(count - 1) ? count : 0;
}

function originOf(work: CalibratedFrames): Card[] {
  const { source, calibration } = work;
  const sum = new RunningSum();
  for (let index = 0; index < source.frameCount; index++) sum.add(work.load(index));
  return originCards(source.path, String(sum.value), calibration);
}

/** Counts of one scale: a dark of 16 bits tells nothing of 8-bit frames. */
function checkDarkLevel(source: FrameSource, { countMax }: SequenceResult, calibration: Calibration): void {
  const { dark, darkLevelAdu } = calibration;
  if (dark === undefined || darkLevelAdu < countMax) return;
  throw new InputError(
    `${dark.path} has a level of ${darkLevelAdu}, and ${source.path} holds counts up to ${countMax}.`,
    "Take a dark of the same depth.",
  );
}

function resultOf(source: FrameSource, request: SequenceRequest): SequenceResult {
  return source.ser !== undefined && request.as === undefined
    ? serResult(source.ser, request)
    : cubeResult(source, request.as ?? "float32", request);
}
