import { readdirSync } from "node:fs";
import { compiledKernel } from "./compile-kernel.ts";

/** `npm run setup` ends with this, so that no first run has to wait for the compiler. */
for (const file of readdirSync(import.meta.dirname)) {
  if (file.endsWith(".as")) compiledKernel(file.slice(0, -".as".length));
}
