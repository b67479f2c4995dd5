import { readFileSync } from "node:fs";
import load, { type Pffft } from "@echogarden/pffft-wasm/simd";
import { findOwnFile, inSingleFile } from "../../../drivers/kit/place.ts";

/** The library, once loaded: transforms themselves never wait. */
export interface FftLibrary {
  readonly pffft: Pffft;
  /** The library's own, which grows; our kernels work in it too. */
  readonly memory: WebAssembly.Memory;
}

/** Compiled once, which takes longer than many a transform; each library has a memory of its own, which goes with it. */
let code: WebAssembly.Module | undefined;

export async function loadFft(): Promise<FftLibrary> {
  let memory: WebAssembly.Memory | undefined;
  const pffft = await load({
    instantiateWasm(imports, received) {
      code ??= new WebAssembly.Module(readFileSync(codePath()));
      const instance = new WebAssembly.Instance(code, imports);
      memory = Object.values(instance.exports).find((part) => part instanceof WebAssembly.Memory);
      received(instance);
      return instance.exports;
    },
  });
  if (memory === undefined)
    throw new Error("the Fourier library shows no memory: is its version another one?");
  return { pffft, memory };
}

/** Beside the library's own module, wherever that was installed. */
function codePath(): URL {
  if (inSingleFile) return findOwnFile("node_modules/@echogarden/pffft-wasm/dist/simd/pffft.wasm");
  return new URL("pffft.wasm", import.meta.resolve("@echogarden/pffft-wasm/simd"));
}

/** A piece of the library's memory, to be freed by `free`. */
export function allocate({ pffft }: FftLibrary, bytes: number): number {
  const address = pffft._pffft_aligned_malloc(bytes);
  if (address === 0)
    throw new RangeError(`no ${(bytes / 2 ** 20).toFixed(0)} MiB left for a Fourier transform`);
  return address;
}

export function freeMemory({ pffft }: FftLibrary, address: number): void {
  pffft._pffft_aligned_free(address);
}
