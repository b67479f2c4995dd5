import { defineConfig } from "vitest/config";
import { longestFirst } from "./test/longest-first.ts";

/** Published values and other people's programs: Debian's indi-bin, fitsverify, python3-astropy, python3-ccdproc. */
export default defineConfig({
  test: {
    pool: "threads",
    experimental: { viteModuleRunner: false, nodeLoader: false },
    isolate: false,
    include: ["test/outside/**/*.test.ts"],
    testTimeout: 600_000,
    hookTimeout: 120_000,
    // Two wait for simulators in real time, each server in a network namespace of its own, while one computes.
    maxWorkers: 3,
    sequence: {
      sequencer: longestFirst([
        "outside/whole-job.test.ts",
        "outside/roles-on-simulators.test.ts",
        "outside/displaced-measured.test.ts",
        "outside/fringes.test.ts",
        "outside/indi-stock.test.ts",
        "outside/driver-programs.test.ts",
      ]),
    },
  },
});
