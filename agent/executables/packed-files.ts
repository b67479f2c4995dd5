import { readdirSync } from "node:fs";
import { findOwnFile } from "../../drivers/kit/place.ts";
import { exampleFiles } from "../../plans/example-files.ts";

const kernels = "drivers/kit/kernels/built";

/** What is started or read by its place, and not by an import, by path from the root: it goes into an executable by name. */
export function listPackedFiles(): {
  readonly programs: readonly string[];
  readonly data: readonly string[];
} {
  const compiled = readdirSync(findOwnFile(kernels)).filter((file) => file.endsWith(".wasm"));
  return {
    programs: ["agent/main.ts", "agent/threads/worker.ts"],
    data: [
      ...compiled.map((file) => `${kernels}/${file}`),
      ...exampleFiles.map((file) => `plans/${file}`),
      "node_modules/@echogarden/pffft-wasm/dist/simd/pffft.wasm",
    ],
  };
}
