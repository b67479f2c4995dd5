import { readFileSync } from "node:fs";
import { join } from "node:path";
import * as z from "zod";
import { parseJson } from "../../../drivers/kit/parse-json.ts";
import type { RetreatRecord } from "../record/run-record.ts";

/** In the run's folder, one JSON object a line. */
export const retreatsFileName = "retreats.ndjson";

const retreatSchema = z.object({
  rig: z.string(),
  runId: z.string(),
  utc: z.iso.datetime(),
  kind: z.enum(["brightness", "weather", "cover", "other"]),
  reason: z.string(),
  lastConfirmed: z.string(),
});

/** How it stands there. */
export function retreatLine({ utcMs, ...retreat }: RetreatRecord): z.infer<typeof retreatSchema> {
  return { utc: new Date(utcMs).toISOString(), ...retreat };
}

export interface RetreatsRead {
  readonly retreats: readonly RetreatRecord[];
  /** There was a retreat of which no more can be read. */
  readonly unreadable: boolean;
}

/** @throws nothing */
export function readRetreats(folder: string): RetreatsRead {
  let text: string;
  try {
    text = readFileSync(join(folder, retreatsFileName), "utf8");
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    return { retreats: [], unreadable: code !== "ENOENT" && code !== "ENOTDIR" };
  }
  const lines = text.split("\n").filter((line) => line.trim() !== "");
  const read = lines.map((line) => retreatSchema.safeParse(parseJson(line)));
  return {
    retreats: read.flatMap(({ success, data }) => {
      if (!success) return [];
      const { utc, ...retreat } = data;
      return [{ ...retreat, utcMs: Date.parse(utc) }];
    }),
    unreadable: read.some(({ success }) => !success),
  };
}
