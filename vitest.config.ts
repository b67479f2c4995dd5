import { defineConfig } from "vitest/config";
import { longestFirst } from "./test/longest-first.ts";
import { onlyAHangMs } from "./test/only-a-hang.ts";

/** `bun run test` runs everything but the long campaigns and the benchmarks, which have commands of their own. */
export default defineConfig({
  test: {
    pool: "threads", // the forks pool dies under Bun
    experimental: { viteModuleRunner: false, nodeLoader: false }, // modules as Bun itself loads them: what ships
    isolate: false, // a worker keeps its modules and compiled code from file to file
    setupFiles: ["test/compare-arrays-as-bytes.ts"],
    include: ["test/**/*.test.ts"],
    exclude: ["test/outside/**", "test/bench/**", "test/campaign/**", "node_modules/**"],
    testTimeout: onlyAHangMs,
    hookTimeout: onlyAHangMs,
    maxWorkers: 2,
    sequence: {
      sequencer: longestFirst([
        "storms/storms.test.ts",
        "runs/new-flat.test.ts",
        "flat/by-defocus.test.ts",
        "commands/simulated-rigs.test.ts",
        "runs/one-set-of-rules.test.ts",
        "runs/alpaca-and-mixed.test.ts",
        "runs/flat-by-defocus.test.ts",
        "runs/simulated.test.ts",
        "centre/centre.test.ts",
        "runs/alpaca-faults.test.ts",
      ]),
    },
  },
});
