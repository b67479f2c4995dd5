import type { SettingValue } from "../../drivers/roles/device.ts";
import packageFile from "../../package.json";
import { computeNoiseBudget } from "../imaging/noise/frames-enough.ts";
import { describeVerdict } from "../imaging/proof/proof-figure.ts";
import type { DefocusFound } from "../procedures/flat/flat-request.ts";
import { imageWarnings } from "../run/record/flat-doubts.ts";
import { lastStepResult } from "../run/record/found-in-record.ts";
import type { RunRecord } from "../run/record/run-record.ts";
import { correctionFacts, lightFacts, responseFacts } from "./light-words.ts";
import type { ReportInput } from "./report-page.ts";
import { spanText } from "./terminal-progress.ts";

const percent = (fraction: number, digits = 2) => `${(100 * fraction).toFixed(digits)} %`;

const blurWords = {
  diffuser: "through the diffuser",
  defocus: "out of focus",
  drift: "with the mount in motion about the disc's centre",
} as const;

/** Told of when the plan does not say what the flat is for. */
const usualStack = { imagesToStack: 100, imageOverFlatLevel: 1 };

/** One or two sentences: what was done and what it is worth. */
export function reportSummary(record: RunRecord): string {
  const found = lastStepResult(record, "flat");
  const reused = record.findings.flatInUse?.from === "ledger" ? record.findings.flatInUse : undefined;
  const flat = found
    ? `A flat of ${found.frameCount} frames of ${secondsText(found.exposureSeconds)} ${blurWords[found.blur]} was taken and proved: ${describeVerdict(found.verdict, found.proof.figures)}.`
    : reused
      ? `A flat of ${new Date(reused.madeUtcMs).toISOString().slice(0, 10)} that still fits is used again (${reused.file}); none was taken.`
      : "No flat was finished.";
  const retaken = imageWarnings(record.steps).newFlats.map(
    (because) => ` It was taken in mid-run, as the one before no longer fitted: ${lowerFirst(because)}`,
  );
  const end: Record<RunRecord["ended"], string> = {
    completed: "The plan was carried out to its end.",
    stopped: "The operator stopped the run.",
    failed: "The run failed.",
    unsafe: "The run was broken off for safety.",
    refused: "The run was refused before anything was changed.",
  };
  const why = record.failure ? ` ${record.failure.message}. ${record.failure.whatToDo}` : "";
  return `${flat}${retaken.at(-1) ?? ""} ${end[record.ended]}${why}`;
}

/** The few facts that stand at the top of the page. */
export function reportFacts(record: RunRecord): (readonly [string, string])[] {
  const { optics, site, sunFilter } = record.rig;
  const centre = lastStepResult(record, "centre");
  const leak = lastStepResult(record, "leak-check");
  const flat = lastStepResult(record, "flat");
  const bought = flat && (flat.bought ?? computeNoiseBudget(flat.frameCount, 1, usualStack));
  return [
    ["Begun", `${new Date(record.startedUtcMs).toISOString().slice(0, 19).replace("T", " ")} UTC`],
    ["Took", spanText((record.endedUtcMs - record.startedUtcMs) / 1000)],
    [
      "Site",
      `${latitudeText(site.latitudeDegrees)}, ${longitudeText(site.longitudeDegrees)}, ${site.elevationMetres} m`,
    ],
    [
      "Optics",
      `${optics.apertureMm} mm f/${(optics.focalLengthMm / optics.apertureMm).toFixed(1)} at ${optics.wavelengthNm} nm`,
    ],
    ["Sun filter", `${sunFilter.describe}; inspected ${sunFilter.lastConfirmed}`],
    ...record.devices
      .filter((device) => device.role === "camera")
      .map((device) => ["Camera", device.name] as const),
    ...cameraFacts(record),
    ...(centre
      ? ([
          [
            "Sun centred to",
            `${percent(centre.offsetFraction)} of its diameter (± ${percent(centre.uncertaintyFraction)}), ${centre.frameCount} frames`,
          ],
        ] as const)
      : []),
    ...(leak
      ? ([
          [
            "Stray light",
            `${percent(leak.leakFraction, 3)} of the flat (seen from ${percent(leak.detectionLimitFraction, 3)})`,
          ],
        ] as const)
      : []),
    ...(flat
      ? [
          ...lightFacts(flat.proof.light),
          ...correctionFacts(flat.lightCorrection),
          ...responseFacts(flat.proof.response, flat.responseCorrection),
        ]
      : []),
    ...(flat?.defocus ? defocusFacts(flat.defocus) : []),
    ...(flat && bought
      ? ([
          ["Exposure", `${secondsText(flat.exposureSeconds)}, found in ${flat.testFrames} test frames`],
          [
            `In a stack of ${bought.imagesToStack} images`,
            `${(1 + bought.addedNoiseFraction).toFixed(2)} times the noise that a perfect flat would leave, at most`,
          ],
          ["Upper edge", `${percent(flat.upperEdge.median, 1)} of full scale`],
        ] as const)
      : []),
  ];
}

const latitudeText = (degrees: number) => `${Math.abs(degrees)}° ${degrees < 0 ? "S" : "N"}`;
const longitudeText = (degrees: number) => `${Math.abs(degrees)}° ${degrees < 0 ? "W" : "E"}`;

/** What an observer writes down of each flat. */
function cameraFacts(record: RunRecord): (readonly [string, string])[] {
  const flat = lastStepResult(record, "flat");
  const setting = (key: RegExp) => {
    const found = record.settings.find((one) => one.role === "camera" && key.test(one.key));
    return found && settingText(found.before, found.unit);
  };
  const slot = record.settings.find(({ role, key }) => role === "wheel" && /slot/i.test(key));
  const facts: readonly (readonly [string, string | undefined])[] = [
    [
      "Frames in the flat",
      flat && `${flat.frameCount}${flat.refusedFrames > 0 ? `, ${flat.refusedFrames} left out` : ""}`,
    ],
    ["Gain before the run", setting(/^gain$/i)],
    ["Offset", setting(/^offset$/i)],
    ["Binning", setting(/^bin/i)],
    ["Filter slot", slot && settingText(slot.before, slot.unit)],
    ["Sensor", flat?.sensorCelsius === undefined ? undefined : `${flat.sensorCelsius.toFixed(1)} °C`],
    ["Made by", `evenfield ${packageFile.version}`],
  ];
  return facts.flatMap(([name, value]) => (value === undefined ? [] : [[name, value] as const]));
}

export function settingRows(record: RunRecord): ReportInput["settings"] {
  return record.settings.map(({ device, key, unit, before, after, state }) => ({
    device,
    key,
    before: settingText(before, unit),
    after: after === undefined ? "not read" : settingText(after, unit),
    same: state === "same",
  }));
}

function settingText(value: SettingValue, unit: string | undefined): string {
  const text = Array.isArray(value)
    ? value.map(roundText).join(", ")
    : typeof value === "number"
      ? roundText(value)
      : String(value);
  return unit === undefined ? text : `${text} ${unit}`;
}

function roundText(value: number): string {
  return String(Number(value.toPrecision(7)));
}

function lowerFirst(text: string): string {
  return text.charAt(0).toLowerCase() + text.slice(1);
}

export function secondsText(seconds: number): string {
  if (seconds >= 1) return `${Number(seconds.toPrecision(4))} s`;
  return seconds >= 1e-3
    ? `${Number((seconds * 1e3).toPrecision(4))} ms`
    : `${Number((seconds * 1e6).toPrecision(4))} µs`;
}

function defocusFacts(defocus: DefocusFound): readonly (readonly [string, string])[] {
  const { focusSteps, flatSteps, blurRadiusPx, litFraction, gradientAcross } = defocus;
  const { x, y, sigma } = gradientAcross;
  return [
    ["Focuser", `${focusSteps} steps in focus, ${flatSteps} for the flat, and back`],
    [
      "Blur",
      `a disc of ${(2 * blurRadiusPx).toFixed(0)} px; ${percent(litFraction, 1)} of the frame is lit evenly${litFraction < 0.98 ? ", the rest is masked" : ""}`,
    ],
    [
      "Gradient of the light, divided out",
      `${percent(x)} across the width, ${percent(y)} across the height (± ${percent(sigma, 3)})`,
    ],
  ];
}
