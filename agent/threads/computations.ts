import { findDust } from "../imaging/dust/dust.ts";
import { matchPair } from "../imaging/match/match-since.ts";
import { matchTrain } from "../imaging/match/match-train.ts";
import { smallStructure } from "../imaging/match/small-structure.ts";
import type { FftLibrary } from "../imaging/numerics/fft-library.ts";
import { type ProofInput, proveFlat } from "../imaging/proof/proof.ts";

/** The arguments of a numeric function without the library, which every thread loads for itself. */
type Rest<F> = F extends (fft: FftLibrary, ...rest: infer R) => unknown ? R : never;

/** What takes seconds on a large frame. Arguments and results go from thread to thread as copies. */
export const computations = {
  proveFlat: (fft: FftLibrary, input: ProofInput) => proveFlat({ ...input, known: { ...input.known, fft } }),
  findDust: (_: FftLibrary, ...about: Parameters<typeof findDust>) => findDust(...about),
  smallStructure: (_: FftLibrary, ...about: Parameters<typeof smallStructure>) => smallStructure(...about),
  matchTrain: (fft: FftLibrary, ...about: Rest<typeof matchTrain>) => matchTrain(fft, ...about),
  matchSince: (fft: FftLibrary, ...about: Rest<typeof matchPair>) => matchPair(fft, ...about),
} as const;

export type ComputationName = keyof typeof computations;
export type ComputationArguments<Name extends ComputationName> = Rest<(typeof computations)[Name]>;
export type ComputationResult<Name extends ComputationName> = ReturnType<(typeof computations)[Name]>;

/** Every computation fits this when its name and its arguments do. */
export type AnyComputation = (fft: FftLibrary, ...about: readonly unknown[]) => unknown;
