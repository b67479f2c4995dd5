import { readFileSync } from "node:fs";
import { dirname, join } from "node:path";
import load, { type Pffft } from "@echogarden/pffft-wasm/simd";

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

function codePath(): string {
  return join(dirname(Bun.resolveSync("@echogarden/pffft-wasm/simd", import.meta.dirname)), "pffft.wasm");
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
