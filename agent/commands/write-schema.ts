import { join } from "node:path";
import { jsonOutputSchema } from "./result-schemas.ts";

/** Writes the schema for scripts anew, after a change of what `--json` prints. */
await Bun.write(
  join(import.meta.dirname, "../../plans/schemas/json-output.json"),
  `${JSON.stringify(jsonOutputSchema(), null, 2)}\n`,
);
