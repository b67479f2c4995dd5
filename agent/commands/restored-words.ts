import { describeLeft } from "../run/record/run-errors.ts";
import type { RecoveredRun } from "../run/restoring/recover.ts";
import { describeCovered } from "../safing/front.ts";
import { exitCodes, type Outcome } from "./outcome.ts";

/** How the rig stands after a restoring, and after that what could not be read or written. */
export function describeRestored(
  rig: string,
  restored: readonly RecoveredRun[],
  notes: readonly string[],
): Outcome {
  const settings = restored.flatMap((run) => run.settings);
  const left = settings.filter((setting) => setting.state === "different");
  const kept = settings.filter((setting) => setting.state === "keptSafe");
  const lost = restored.filter((run) => run.baselineLost);
  const unwritten = restored.flatMap((run) => run.unwritten);
  const whole = restored.filter((run) => !run.baselineLost);
  const isBack = left.length === 0 && lost.length === 0;
  const text = [
    ...(left.length > 0
      ? [
          `${rig} could not be put back in full; ${left.length} of ${settings.length} settings are not as they were found:`,
          ...left.map((setting) => `  ${describeLeft(setting)}`),
        ]
      : []),
    ...lost.map(
      ({ runId, folder }) =>
        `${rig} could not be put back as it was before ${runId}: how it was found is damaged, in the ledger and in ${folder}.`,
    ),
    ...(isBack
      ? [
          `${rig} is as it was found before ${whole.map((run) => run.runId).join(", ")}: ${settings.length - kept.length} settings read back.`,
        ]
      : []),
    ...kept.map((setting) => `Left otherwise on purpose: ${describeLeft(setting)}`),
    ...restored.flatMap(({ safety, settings }) => {
      const hasCover = settings.some(({ role }) => role === "cover");
      const state = hasCover && safety ? describeCovered(safety.covered) : "";
      return state.startsWith("not")
        ? [`The telescope is ${state}. Keep away from the eyepiece and the finder.`]
        : [];
    }),
    ...notes.map((note) => `Note: ${note}.`),
    ...unwritten.map(
      (why) =>
        `Could not be written: ${why}. The rig is none the worse for it; the next run looks at it once more.`,
    ),
    isBack
      ? "The next run may begin."
      : `Put right by hand what is named${lost.length > 0 ? ", close the cover" : ""}, then run \`evenfield restore\` again; with \`--accept\` the rig is taken as it is.`,
  ];
  return {
    exitCode: isBack ? exitCodes.done : exitCodes.notRestored,
    result: { rig, restored, notes },
    text: text.join("\n"),
  };
}
