import { defineConfig } from "vitest/config";

/** Published values and other people's programs: Debian's indi-bin, fitsverify, python3-astropy, python3-ccdproc. */
export default defineConfig({
  test: {
    pool: "threads",
    experimental: { viteModuleRunner: false, nodeLoader: false }, // modules as Bun itself loads them: what ships
    isolate: false, // a worker keeps its modules and compiled code from file to file
    include: ["test/outside/**/*.test.ts"],
    testTimeout: 600_000,
    hookTimeout: 120_000,
    maxWorkers: 4, // they mostly wait for simulators in real time, each server in a network namespace of its own
  },
});
