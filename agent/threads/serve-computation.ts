import { loadFft } from "../imaging/numerics/fft-library.ts";
import { type AnyComputation, type ComputationName, computations } from "./computations.ts";

const fft = await loadFft();

export interface ComputationMessage {
  readonly name: ComputationName;
  readonly about: readonly unknown[];
}

/** @returns the answer to be sent back */
export function serve({ name, about }: ComputationMessage): { readonly result: unknown } {
  return { result: (computations[name] as AnyComputation)(fft, ...about) };
}
