import * as z from "zod";
import { mapOf, numberFrom, schemaInFile, shortName, textLine } from "./fields.ts";
import { readChecked } from "./file-problems.ts";
import { planCamera } from "./plan-camera.ts";
import { type PlanStep, stepEntry } from "./plan-steps.ts";
import { stepOrderProblems } from "./step-order.ts";

/** More than a day holds. */
const stepCountMax = 1000;

export const planFile = mapOf({
  plan: shortName("the plan's name").describe("The plan's name, which names its runs."),
  about: textLine("what the plan is for", 2000).optional().describe("What the plan is for, in your words."),
  sun: mapOf({
    altitudeDegreesMin: numberFrom(5, 85, "degrees")
      .default(20)
      .describe(
        "How high the Sun must stay for all of the planned time; the rig file may ask for more, and the higher of the two holds.",
      ),
    plannedMinutes: numberFrom(1, 1440, "minutes")
      .optional()
      .describe("How long the whole takes; left out, it is reckoned from the steps."),
  })
    .default({ altitudeDegreesMin: 20 })
    .describe("What the Sun must do."),
  camera: planCamera.optional(),
  steps: z
    .array(z.unknown(), { error: "a list of steps" })
    .min(1, { error: "a list of at least one step" })
    .max(stepCountMax, { error: `a list of at most ${stepCountMax} steps` })
    .pipe(z.array(stepEntry))
    .meta({ ...schemaInFile(z.array(stepEntry)), description: "What is done, in this order." }),
}).check((ctx) => {
  for (const problem of stepOrderProblems(ctx.value.steps as PlanStep[])) {
    ctx.issues.push({
      code: "custom",
      path: ["steps", problem.stepIndex],
      message: problem.message,
      params: { whole: true },
      input: ctx.value,
    });
  }
});

/** A plan as read from its file, every default filled in. */
export type Plan = z.infer<typeof planFile>;

/** @throws FileProblemsError naming file, line, the value found and what is allowed, all problems at once */
export function readPlan(text: string, file: string): Plan {
  return readChecked(text, file, planFile);
}
