import { defineConfig } from "vitest/config";
import { longestFirst } from "./test/longest-first.ts";
import { onlyAHangMs } from "./test/only-a-hang.ts";

/** Published values and other people's programs: Debian's indi-bin, fitsverify, python3-astropy, python3-ccdproc. */
export default defineConfig({
  test: {
    pool: "threads",
    experimental: { viteModuleRunner: false, nodeLoader: false },
    isolate: false,
    setupFiles: ["test/compare-arrays-as-bytes.ts"],
    include: ["test/outside/**/*.test.ts"],
    testTimeout: onlyAHangMs,
    hookTimeout: onlyAHangMs,
    // Most wait for simulators in real time, each server in a network namespace of its own; a few compute.
    maxWorkers: 7,
    // Whole rigs in real time, which wait nearly all the time.
    maxConcurrency: 6,
    sequence: {
      sequencer: longestFirst([
        "outside/whole-job.test.ts",
        "outside/mount-on-simulators.test.ts",
        "outside/movers-on-simulators.test.ts",
        "outside/indi-stock.test.ts",
        "outside/driver-programs.test.ts",
        "outside/displaced-measured.test.ts",
        "outside/camera-on-simulators.test.ts",
        "outside/roles-on-simulators.test.ts",
        "outside/fringes.test.ts",
      ]),
    },
  },
});
