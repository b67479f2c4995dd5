import { afterCentring, type PlanStep } from "./plan-steps.ts";

/** With fewer, the Sun and the rig can't be told apart down to what light allows. */
export const driftFramesMin = 24;

/** What is wrong with the order of steps, or with one step beside the others. Steps count from 0. */
export function stepOrderProblems(steps: readonly PlanStep[]): { stepIndex: number; message: string }[] {
  const problems: { stepIndex: number; message: string }[] = [];
  const before = (index: number, kind: PlanStep["step"]) =>
    steps.slice(0, index).some((s) => s.step === kind);
  steps.forEach((step, stepIndex) => {
    const say = (message: string) =>
      problems.push({ stepIndex, message: `step ${stepIndex + 1}: ${message}` });
    if (afterCentring[step.step] && !before(stepIndex, "centre")) {
      say(`\`${step.step}\` needs the Sun centred; allowed: a \`centre\` step before it`);
    }
    if (
      step.step === "images" &&
      step.whenFlatMoved === "new-flat" &&
      !steps.some((s) => s.step === "flat")
    ) {
      say(
        "`whenFlatMoved` is new-flat and the plan does not say how a flat is taken; allowed: tell, or a `flat` step in the plan",
      );
    }
    if (step.step !== "flat") return;
    if (step.blur === "diffuser" && !before(stepIndex, "leak-check")) {
      say(
        "a flat by diffuser has long exposures that a light leak spoils; allowed: a `leak-check` step before it",
      );
    }
    if (step.blur !== "drift" && step.driftRadiusFraction !== undefined) {
      say("`driftRadiusFraction` belongs to a flat by drift; allowed: leave it out, or `blur: drift`");
    }
    if (step.onlyWhenNoneFits && step.blur !== "diffuser") {
      say(
        "`onlyWhenNoneFits` is told by frames through the diffuser; allowed: leave it out, or `blur: diffuser`",
      );
    }
    if (step.blur === "drift" && typeof step.frames === "number" && step.frames < driftFramesMin) {
      say(
        `a flat by drift is solved from many frames, and ${step.frames} are too few; allowed: at least ${driftFramesMin}, or as-images`,
      );
    }
    if (step.frames === "enough" && step.blur !== "diffuser") {
      say(
        '`frames` is "enough", which only a flat by diffuser can tell while it is taken; allowed: a number, or as-images',
      );
    }
    if (step.frames !== "enough" && (step.imagesToStack ?? step.addedNoiseFraction) !== undefined) {
      say("`imagesToStack` and `addedNoiseFraction` say what is enough; allowed: with `frames: enough` only");
    }
    if (step.frames === "as-images" && !steps.some((s) => s.step === "images")) {
      say(
        '`frames` is "as-images" and the plan takes no images; allowed: a number, or an `images` step in the plan',
      );
    }
  });
  return problems;
}
