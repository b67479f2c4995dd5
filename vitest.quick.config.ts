import { configDefaults, defineConfig, mergeConfig } from "vitest/config";
import inside from "./vitest.config.ts";

/**
 * `npm run quick`, for daily work: every test but those that play runs and steps, work on whole frames or run commands.
 * The folders decide, and `test/house/quick.test.ts` holds that nothing dear is brought into them.
 */
export default mergeConfig(
  inside,
  defineConfig({
    test: {
      exclude: [
        ...configDefaults.exclude,
        "test/{runs,stage,storms,outside,bench,campaign}/**",
        "test/agent/{commands,files,imaging,masters,open-files,procedures,threads}/**",
      ],
    },
  }),
);
