import type { Card } from "../../../drivers/formats/fits-card.ts";
import type { PartFile } from "./part-file.ts";
import type { Despites } from "./refusals.ts";

export interface SequenceRequest {
  readonly outputFolder: string;
  /** FITS of that type; without it SER becomes SER of the same kind and a FITS cube float32. */
  readonly as?: "float32" | "uint16";
  readonly replace: boolean;
  readonly despite?: Despites;
  readonly writtenUtcMs: number;
  readonly signal?: AbortSignal;
  /** Never written over. */
  readonly inputs: readonly string[];
}

/** The kind of file that a sequence becomes. */
export interface SequenceResult {
  readonly output: string;
  /** Type of the pixels that `encode` takes. */
  readonly as: "float32" | "uint16";
  /** Largest count that it holds; more is held there. */
  readonly countMax: number;
  readonly frameBytes: number;
  /** Of what comes before the frames, with cards that take as much room as these. */
  headBytes(cards: readonly Card[]): number;
  /** Whether the sum of the frames is part of the file. */
  readonly holdsSum: boolean;
  /** Pixels as they lie in the file: in `into`, or where they are. */
  encode(pixels: Float32Array | Uint16Array, into: Uint8Array): Uint8Array;
  /** Whether it is there and made from the same. */
  isDone(origin: readonly Card[]): boolean;
  /** @throws InputError if what it consists of may not be written */
  checkNames(): void;
  /** Writes what is around the frames and gives the file its name. */
  finish(part: PartFile, about: { readonly cards: readonly Card[]; readonly dataSum: number }): void;
}
