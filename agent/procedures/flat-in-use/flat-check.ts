import { basename } from "node:path";
import type { Frame } from "../../../drivers/roles/camera.ts";
import type { MatchVerdict, TrainMatch } from "../../imaging/match/match-train.ts";
import { describeMatch, describePairMatch } from "../../imaging/match/match-words.ts";
import type { SmallStructure } from "../../imaging/match/small-structure.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import type { Shape } from "../../imaging/numerics/shape.ts";
import { computeInThread } from "../../threads/compute-in-thread.ts";
import type { FlatInUse } from "../findings.ts";
import type { Workbench } from "../step.ts";
import { type FlatStructure, readStructure } from "./read-structure.ts";
import { exposeThroughDiffuser } from "./test-frames.ts";

/** Whether a flat still fits, as it was seen at one moment. */
export interface FlatCheck {
  readonly utcMs: number;
  /** The flat that was asked about; `undefined` where there is none. */
  readonly flat: string | undefined;
  readonly seenIn: "an image" | "images since it fitted" | "frames through the diffuser";
  readonly says: MatchVerdict | "none";
  /** One sentence. */
  readonly text: string;
  readonly shiftXPx?: number;
  readonly shiftYPx?: number;
  readonly shiftSigmaPx?: number;
  readonly rotationDegrees?: number;
}

type Pixels = Pick<Frame, "pixelsAdu" | "widthPx" | "heightPx">;

/** More are not compared; the newest come first. */
const keptFlatsMost = 8;

/** Asks of pictures whether the flat in use fits. Keeps what it has read of flats. */
export class FlatChecker {
  readonly #structures = new Map<string, FlatStructure | undefined>();
  /** An image that the flat fitted, over that flat. */
  #fitted: { readonly flat: string; readonly structure: SmallStructure } | undefined;

  constructor(private readonly bench: Workbench) {}

  /** Says what an image shows, and finds the flat that fits when the run has none of its own yet. */
  async byImage(frame: Frame, pedestalAdu: number, signal: AbortSignal): Promise<FlatCheck> {
    const levels = mapInto(
      new Float32Array(frame.pixelsAdu.length),
      frame.pixelsAdu,
      (value) => value - pedestalAdu,
    );
    return this.#compare(levels, frame, "image", signal);
  }

  /** The flat in use is known to fit that image: later ones can be held against it. */
  async remember(frame: Frame, pedestalAdu: number, signal: AbortSignal): Promise<void> {
    const inUse = this.bench.findings.flatInUse;
    const structure = inUse && (await this.#overFlat(inUse, frame, pedestalAdu, signal));
    if (structure) this.#fitted = { flat: inUse.file, structure };
  }

  /**
   * Says what an image shows beside one that the flat fitted, with the Sun taken out of both.
   * @returns `undefined` where there is none of that flat and size
   */
  async sinceFitted(frame: Pixels, pedestalAdu: number, signal: AbortSignal): Promise<FlatCheck | undefined> {
    const { bench } = this;
    const inUse = bench.findings.flatInUse;
    if (!inUse || this.#fitted?.flat !== inUse.file) return undefined;
    const later = await this.#overFlat(inUse, frame, pedestalAdu, signal);
    const earlier = this.#fitted.structure;
    if (later?.shape.widthPx !== earlier.shape.widthPx) return undefined;
    const { structure } = (await this.#structureOf(inUse, signal))!;
    const at = sizeOf(later.shape, signal);
    const match = await computeInThread(bench, at, "matchSince", structure, earlier, later, inUse.dust ?? []);
    const about = { utcMs: bench.clock.nowMs(), flat: basename(inUse.file) };
    return { ...about, seenIn: "images since it fitted", ...outcomeOf(match, describePairMatch(match)) };
  }

  async #overFlat(
    inUse: FlatInUse,
    frame: Pixels,
    pedestalAdu: number,
    signal: AbortSignal,
  ): Promise<SmallStructure | undefined> {
    const { gain, structure } = (await this.#structureOf(inUse, signal)) ?? {};
    const { widthPx, heightPx, pixelsAdu } = frame;
    if (!gain || structure?.shape.widthPx !== widthPx || structure.shape.heightPx !== heightPx)
      return undefined;
    const levels = gain.map((value, i) => (pixelsAdu[i]! - pedestalAdu) / value);
    const { shape } = structure;
    return computeInThread(this.bench, sizeOf(shape, signal), "smallStructure", levels, shape);
  }

  /**
   * Says what frames through the diffuser show, in which the Sun's own structure hides nothing.
   * @returns `undefined` where that can't be done: no diffuser, or nothing known of its light
   */
  async byDiffuser(frames: number, signal: AbortSignal): Promise<FlatCheck | undefined> {
    const seen = await exposeThroughDiffuser(this.bench, frames, signal);
    return seen && this.#compare(seen.levels, seen, "flat", signal);
  }

  async #compare(
    levels: Float32Array,
    { widthPx, heightPx }: Shape,
    kind: "flat" | "image",
    signal: AbortSignal,
  ): Promise<FlatCheck> {
    const { bench } = this;
    const shape = { widthPx, heightPx }; // and nothing else of the frame
    const at = sizeOf(shape, signal);
    const seen = await computeInThread(bench, at, "smallStructure", levels, shape);
    const inUse = bench.findings.flatInUse;
    const flats = inUse ? [inUse] : (bench.keptFlats ?? []).slice(0, keptFlatsMost);
    let best: { readonly flat: FlatInUse; readonly match: TrainMatch } | undefined;
    for (const flat of flats) {
      const structure = (await this.#structureOf(flat, signal))?.structure;
      if (structure?.shape.widthPx !== widthPx || structure.shape.heightPx !== heightPx) continue;
      const match = await computeInThread(bench, at, "matchTrain", structure, seen, flat.dust ?? [], kind);
      if (!best || rank[match.says] > rank[best.match.says]) best = { flat, match };
    }
    const seenIn = kind === "image" ? ("an image" as const) : ("frames through the diffuser" as const);
    const utcMs = bench.clock.nowMs();
    const none = { says: "none", text: "There is no flat of this train and size." } as const;
    if (!best) return { utcMs, flat: inUse && basename(inUse.file), seenIn, ...none };
    if (best.match.says === "fits") bench.findings.flatInUse = best.flat;
    return {
      utcMs,
      flat: basename(best.flat.file),
      seenIn,
      ...outcomeOf(best.match, describeMatch(best.match)),
    };
  }

  async #structureOf({ file }: FlatInUse, signal: AbortSignal): Promise<FlatStructure | undefined> {
    if (!this.#structures.has(file))
      this.#structures.set(file, await readStructure(file, this.bench, signal));
    return this.#structures.get(file);
  }
}

/** Which of several flats is told of. */
const rank: Record<MatchVerdict, number> = {
  fits: 4,
  untold: 3,
  uncertain: 2,
  changed: 1,
  moved: 1,
  other: 0,
};

function outcomeOf(
  { says, shift, move }: Pick<TrainMatch, "says" | "shift" | "move">,
  text: string,
): Omit<FlatCheck, "utcMs" | "flat" | "seenIn"> {
  const hasShift = Number.isFinite(shift.sigmaPx);
  return {
    says,
    text,
    ...(hasShift && {
      shiftXPx: round(shift.x),
      shiftYPx: round(shift.y),
      shiftSigmaPx: round(shift.sigmaPx),
    }),
    ...(move && { rotationDegrees: round(move.rotationDegrees) }),
  };
}

/** Whether a new flat is called for: other than `untold`, and an image alone must be sure. */
export function isMisfit({ says, seenIn }: Pick<FlatCheck, "says" | "seenIn">): boolean {
  if (says === "uncertain") return seenIn === "frames through the diffuser";
  return says === "moved" || says === "changed" || says === "other" || says === "none";
}

const round = (value: number) => Number(value.toFixed(3));

function sizeOf({ widthPx, heightPx }: Shape, signal: AbortSignal) {
  return { signal, pxCount: widthPx * heightPx };
}
