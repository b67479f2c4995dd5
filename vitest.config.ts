import { defineConfig } from "vitest/config";

/** `bun run test` runs everything but the long campaigns and the benchmarks, which have commands of their own. */
export default defineConfig({
  test: {
    pool: "threads", // the forks pool dies under Bun
    experimental: { viteModuleRunner: false, nodeLoader: false }, // modules as Bun itself loads them: what ships
    isolate: false, // a worker keeps its modules and compiled code from file to file
    include: ["test/**/*.test.ts"],
    exclude: ["test/outside/**", "test/bench/**", "test/campaign/**", "node_modules/**"],
    testTimeout: 180_000, // a busy machine must not fail a test
    maxWorkers: 2,
  },
});
