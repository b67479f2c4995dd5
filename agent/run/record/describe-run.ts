import { imageWarnings } from "./flat-doubts.ts";
import { describeLeft } from "./run-errors.ts";
import type { RunReport } from "./run-record.ts";
import { trackingWarnings } from "./tracking-doubts.ts";

/** How a run ended, for a person: what happened, what state the rig is in now, what to do next. */
export interface RunDescription {
  readonly happened: string;
  readonly state: string;
  readonly whatToDo: string;
}

export function describeRun(report: RunReport): RunDescription {
  return { happened: happened(report), state: stateOf(report), whatToDo: whatToDo(report) };
}

function happened({ ended, verdict, record, failure }: RunReport): string {
  const { plan } = record.plan;
  const { unserved, between, newFlats } = imageWarnings(record.steps);
  const { flatInUse } = record.findings;
  const reused =
    flatInUse?.from === "ledger"
      ? [`The flat of an earlier run still fits and serves: ${flatInUse.file}.`]
      : [];
  const flats = newFlats.map((because) => `A new flat was taken in mid-run: ${because}`);
  const of = [
    verdict === "none" ? "" : ` Verdict of the flat: ${verdict}.`,
    ...reused,
    ...flats,
    ...unserved,
    ...between,
    ...trackingWarnings(record),
  ]
    .join(" ")
    .trimEnd();
  switch (ended) {
    case "completed":
      return `The plan ${plan} is done.${of}`;
    case "stopped":
      return `The plan ${plan} was stopped by the operator.${of}`;
    case "refused":
      return `The plan ${plan} was not begun: ${failure?.message ?? "it was refused"}.`;
    case "unsafe": {
      const reasons = record.guardEvents.flatMap((event) => event.reasons);
      const why = reasons.length > 0 ? reasons.join("; ") : (failure?.message ?? "a step found it unsafe");
      return `The plan ${plan} was broken off because it was not safe to look at the Sun: ${why}.${of}`;
    }
    case "failed": {
      const step = record.steps.find((one) => one.failure !== undefined);
      const where = step ? ` in step ${step.stepIndex + 1} (${step.kind})` : "";
      return `The plan ${plan} failed${where}: ${failure?.message ?? step?.failure?.message ?? "no reason is known"}.${of}`;
    }
  }
}

function notWritten({ unwritten }: RunReport): string {
  return unwritten.length === 0 ? "" : ` Could not be written to the disk: ${unwritten.join("; ")}.`;
}

function stateOf(report: RunReport): string {
  const { record, notAsFound, leftOnRig, failure } = report;
  if (failure?.code === "RIG_NOT_RESTORED")
    return "The rig is not as that earlier run found it; this run changed nothing.";
  if (record.settings.length === 0) {
    const changed =
      record.exitCode === 6 ? "What was put back is not known." : "Nothing on the rig was changed.";
    return changed + notWritten(report);
  }
  const different = notAsFound.filter((setting) => setting.state === "different");
  const kept = notAsFound.filter((setting) => setting.state === "keptSafe");
  const cover = leftOnRig.cover === undefined ? "" : ` The cover is ${leftOnRig.cover}.`;
  const parts = [
    different.length === 0
      ? `The rig is as it was found (${record.settings.length - kept.length} settings read back).`
      : `Not as it was found: ${different.map(describeLeft).join("; ")}.`,
    ...kept.map((setting) => `Left otherwise on purpose: ${describeLeft(setting)}.`),
  ];
  return parts.join(" ") + cover + notCovered(record) + notWritten(report);
}

/** Where an instrument points that may be open is the first thing that a person must know. */
function notCovered({ safety, rig }: RunReport["record"]): string {
  if (safety === undefined || rig.devices.cover === undefined) return "";
  const { covered } = safety;
  const why = covered.proved ? covered.unseen : covered.why;
  if (why === undefined) return "";
  const { sunSeparationDegrees: off } = safety;
  const where =
    off === undefined
      ? "where it points is not known"
      : `the mount read ${off.toFixed(0)}° from the Sun when it was made safe`;
  return ` The telescope is not proved to be covered (${why}); ${where}. Keep away from the eyepiece and the finder.`;
}

function whatToDo({ ended, exitCode, verdict, record, folder, failure }: RunReport): string {
  const report = record.files.find((file) => file.endsWith(".html"));
  const look = report === undefined ? `Look into ${folder}.` : `The report is ${folder}/${report}.`;
  if (exitCode === 6) {
    return "Put right by hand what is named, keep the cover closed until then, and run `evenfield restore --rig RIG`.";
  }
  const advice = failure?.whatToDo ?? record.steps.find((step) => step.failure)?.failure?.whatToDo;
  if (ended === "refused") return advice ?? "Change what was refused and start again.";
  if (ended === "unsafe") return `${advice ?? "Start again when it is safe."} ${look}`;
  if (advice !== undefined) return `${advice} ${look}`;
  if (verdict === "bad") return `Read in the report which figure is bad and why. ${look}`;
  return look;
}
