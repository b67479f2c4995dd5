import { z } from "zod";
import { standings } from "../fleet/fleet-rows.ts";
import type { commandList } from "./command-list.ts";
import { envelopeSchema } from "./envelope.ts";

/** More may stand beside what is named here; what is named stays. */
const verdict = z.enum(["good", "usable", "bad"]);
const runVerdict = z.enum(["good", "usable", "bad", "none"]);
const failedFile = z.looseObject({ file: z.string(), happened: z.string(), whatToDo: z.string() });
const figure = z.looseObject({
  id: z.string().describe("the same for ever"),
  name: z.string(),
  value: z.number().nullable(),
  sigma: z.number().optional().describe("one sigma, where it is known"),
  unit: z.enum(["share", "ratio"]).describe("share of the level: 0.01 is 1 %"),
  verdict,
  whatToDo: z.string(),
});
const warnings = z.array(z.string());

const run = z.looseObject({
  ended: z.enum(["completed", "stopped", "failed", "unsafe", "refused"]),
  verdict: runVerdict.describe("of the flat; none: there is no flat"),
  exitCode: z.number().int(),
  folder: z.string().optional(),
  happened: z.string(),
  state: z.string(),
  whatToDo: z.string(),
});

const check = z.looseObject({
  check: z.string().describe("what was looked at"),
  verdict: z.enum(["passed", "failed", "doubtful", "not made"]),
  kind: z.enum(["input", "safety"]).describe("of the refusal, if it failed"),
  text: z.string(),
  whatToDo: z.string().optional(),
});

const server = z.looseObject({ protocol: z.string() });

const rehearsedDays = z.looseObject({
  schedule: z.string(),
  rig: z.string(),
  seed: z.number().int(),
  days: z.number().int(),
  fromUtc: z.string(),
  folder: z.string(),
  attempts: z.array(
    z.looseObject({
      entry: z.string(),
      occasion: z.string(),
      ended: z.string().nullable(),
      exitCode: z.number().int().nullable(),
      because: z.string().nullable(),
    }),
  ),
  forgotten: z.array(z.string()).describe("due, and no word of how it went"),
  unsafe: z
    .array(z.looseObject({ utc: z.string(), checker: z.string(), what: z.string() }))
    .describe("what must never happen to a rig and did, by the simulated world's own account"),
  lostFrames: z.array(z.string()).describe("what is wrong with images that were taken"),
  imagesKept: z.number().int(),
  kills: z.number().int(),
  restarts: z.number().int(),
  holds: z
    .array(z.looseObject({ fromUtc: z.string(), untilUtc: z.string(), because: z.string() }))
    .describe("times in which a person had to act"),
  slope: z
    .looseObject({
      days: z.array(z.number()).describe("first and last of those that it was fitted to"),
      memoryMegabytes: z.array(z.number()).describe("on the first and on the last"),
      memoryMegabytesADay: z.number(),
      handles: z.array(z.number()).optional(),
      handlesADay: z.number().optional(),
    })
    .nullable()
    .describe("of the process, simulated rig included; null: too few days"),
  samples: z.array(z.looseObject({ memoryMegabytes: z.number(), handles: z.number().optional() })),
});

const tableRow = z.looseObject({
  file: z.string().describe("below the folder"),
  kind: z.enum(["flat", "dark", "bias", "image"]).optional(),
  widthPx: z.number().int(),
  heightPx: z.number().int(),
  frames: z.number().int(),
  exposureSeconds: z.number().optional(),
  levelAdu: z.number().optional(),
  upperEdge: z.number().optional().describe("over the highest code"),
  noiseAdu: z.number().optional(),
  verdict: verdict.optional(),
  usedFor: z.string(),
  flat: z.string().optional(),
  dark: z.string().optional(),
  why: z.string(),
  ended: z.enum(["written", "done before", "used", "left out", "planned", "in another part"]),
  result: z.string().optional(),
});

/** What stands as `result` in the envelope of each command. */
export const resultSchemas = {
  init: z.looseObject({ file: z.string(), rig: z.string(), toFill: z.array(z.string()) }),
  examples: z.looseObject({ folder: z.string(), written: z.number().int(), kept: z.array(z.string()) }),
  run,
  serve: z.looseObject({ rig: z.string(), runs: z.number().int().describe("that were begun") }),
  schedule: z.looseObject({
    schedule: z.string(),
    rig: z.string(),
    timeZone: z.string(),
    fromUtc: z.string(),
    toUtc: z.string(),
    entries: z.array(
      z.looseObject({
        entry: z.string(),
        occasion: z.string().describe("the day at the site, and the number on it where there are several"),
        will: z.enum(["begin", "begin on a condition", "not begin"]),
        dueUtc: z.string().nullable(),
        beginUtc: z.string().nullable(),
        endUtc: z.string().nullable().describe("on the long side"),
        because: z.string().nullable(),
      }),
    ),
  }),
  notices: z.looseObject({
    to: z.array(
      z.looseObject({
        name: z.string(),
        way: z.string(),
        kinds: z.array(z.string()),
        quiet: z.string().nullable(),
        trouble: z.string().nullable().optional().describe("of --try; null: the notice got there"),
      }),
    ),
  }),
  fleet: z.looseObject({
    rigs: z
      .array(
        z.looseObject({
          rig: z.string(),
          standing: z.enum(standings),
          because: z.string(),
          whatToDo: z.string().optional(),
          sinceUtc: z.string().optional(),
          covered: z.enum(["proved", "not proved", "not known"]),
          flat: z.looseObject({ verdict: z.string(), madeUtc: z.string() }).optional(),
          next: z.looseObject({ entry: z.string(), dueUtc: z.string() }).optional(),
        }),
      )
      .describe("those first that somebody has to see to"),
  }),
  drill: z.looseObject({
    rig: z.string(),
    present: z.string().describe("who stood at the telescope"),
    passed: z.boolean().describe("every part of it"),
    parts: z.array(
      z.looseObject({
        part: z.enum(["agent killed", "link cut", "terminal closed"]),
        passed: z.boolean(),
        text: z.string(),
      }),
    ),
  }),
  rehearse: z.union([
    run.extend({ truth: z.looseObject({ differences: z.array(z.string()) }) }).describe("of a plan"),
    rehearsedDays.describe("of a schedule"),
  ]),
  check: z.looseObject({
    plan: z.string(),
    rig: z.string(),
    utc: z.string(),
    ready: z.boolean().describe("nothing failed"),
    checks: z.array(check),
  }),
  probe: z.looseObject({
    rig: z.string(),
    devices: z.array(z.looseObject({ role: z.string() })),
    offered: z
      .record(z.string(), z.array(z.string()))
      .describe("every device of each server of the rig file"),
    plans: z.array(
      z.looseObject({ file: z.string(), plan: z.string(), ready: z.boolean(), checks: z.array(check) }),
    ),
  }),
  find: z.looseObject({ servers: z.array(server), silent: z.array(server), rigBlock: z.string() }),
  sun: z.looseObject({
    utc: z.string(),
    altitudeDegrees: z.number(),
    azimuthDegrees: z.number(),
    semidiameterArcsec: z.number(),
  }),
  combine: z.looseObject({
    output: z.string(),
    method: z.enum(["series", "mean", "clipped", "median", "displaced"]),
    frameCount: z.number().int(),
    widthPx: z.number().int(),
    heightPx: z.number().int(),
    levelAdu: z.number().nullable().optional(),
    noiseAdu: z.number().nullable().optional(),
    rejectedFraction: z.number(),
    maskedPx: z.number().int(),
    warnings,
  }),
  apply: z.looseObject({
    flat: z.string(),
    dark: z.string().optional(),
    applied: z.array(
      z.looseObject({
        file: z.string(),
        output: z.string(),
        ended: z.enum(["written", "done before"]),
        mendedPx: z.number().int(),
        warnings,
      }),
    ),
    failed: z.array(failedFile),
  }),
  calibrate: z.looseObject({
    dryRun: z.boolean(),
    files: z.array(tableRow),
    masters: z.array(
      z.looseObject({
        name: z.string(),
        path: z.string(),
        kind: z.enum(["flat", "dark", "bias"]),
        ended: z.enum(["written", "done before", "as it was", "failed"]),
        verdict: verdict.optional(),
      }),
    ),
    failed: z.array(failedFile),
    written: z.array(z.string()).describe("the page and the tables"),
  }),
  inspect: z.looseObject({
    verdict: verdict.optional(),
    files: z.array(
      z.looseObject({
        file: z.string(),
        kind: z.enum(["flat", "dark", "bias", "image"]),
        widthPx: z.number().int(),
        heightPx: z.number().int(),
        frameCount: z.number().int(),
        figures: z.array(figure),
        verdict,
        reasons: z.array(z.string()),
      }),
    ),
    failed: z.array(failedFile),
    written: z.array(z.string()).describe("page and picture"),
  }),
  match: z.looseObject({ says: z.string() }),
  restore: z.looseObject({ rig: z.string() }),
  keep: z.looseObject({}),
  simulate: z.looseObject({ port: z.number().int() }),
} as const satisfies Record<keyof typeof commandList, z.ZodType>;

/** JSON Schema of everything that `--json` prints, by command. */
export function jsonOutputSchema(): object {
  const { $schema, ...envelope } = z.toJSONSchema(envelopeSchema);
  const results = Object.entries(resultSchemas).map(([command, schema]) => {
    const { $schema: _, ...result } = z.toJSONSchema(schema);
    return [command, result];
  });
  return { $schema, title: "What evenfield --json prints", ...envelope, $defs: Object.fromEntries(results) };
}
