/** What we use of the library, which brings no types of its own. Addresses are in bytes. */
declare module "@echogarden/pffft-wasm/simd" {
  export interface Pffft {
    /** Replaced when the memory grows. */
    readonly HEAPF32: Float32Array;
    /** @returns 0 if there is no more */
    _pffft_aligned_malloc(bytes: number): number;
    _pffft_aligned_free(address: number): void;
    /** @param kind 0 real, 1 complex */
    _pffft_new_setup(length: number, kind: 0 | 1): number;
    _pffft_destroy_setup(setup: number): void;
    /** @param direction 0 forward, 1 backward, without a factor */
    _pffft_transform_ordered(
      setup: number,
      input: number,
      output: number,
      work: number,
      direction: 0 | 1,
    ): void;
  }
  export interface Overrides {
    /** Takes the place of the library's own way to its code. */
    instantiateWasm(
      imports: WebAssembly.Imports,
      received: (instance: WebAssembly.Instance) => void,
    ): WebAssembly.Exports;
  }
  export default function load(overrides: Overrides): Promise<Pffft>;
}
