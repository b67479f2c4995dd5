import type { ImagesFound } from "../procedures/images/images-ask.ts";
import type { StepRecord } from "./run-record.ts";

/** What the checks of a run's images say against their flat, in sentences with what to do. */
export interface FlatDoubts {
  /** Images to the end of their series that no flat of the run is known to fit. */
  readonly unserved: readonly string[];
  /** Images that were taken while the train moved, before a new flat. */
  readonly between: readonly string[];
  /** Why each new flat was taken. */
  readonly newFlats: readonly string[];
}

export function flatDoubts(steps: readonly StepRecord[]): FlatDoubts {
  const doubts = { unserved: [] as string[], between: [] as string[], newFlats: [] as string[] };
  for (const step of steps) {
    if (step.kind === "flat" && step.because !== undefined) doubts.newFlats.push(step.because);
    if (step.kind !== "images" || step.found === undefined) continue;
    const { checks = [], doubtful = [] } = step.found as Partial<ImagesFound>;
    const which = rangeText(doubtful);
    const wentOn = checks.find(({ outcome }) => outcome === "went on");
    if (wentOn) {
      const from = which === "" ? "" : ` (it may have moved from ${which.split(" ")[0]} on)`;
      doubts.unserved.push(
        wentOn.says === "none"
          ? `The images have no flat: ${wentOn.text}`
          : `The flat no longer fits the images: after image ${wentOn.afterImages} ${lowerFirst(wentOn.text)}${from} No new one was taken: ${wentOn.because}.`,
      );
    } else if (which !== "")
      doubts.between.push(
        `${which} were taken while the train moved: hold each against both flats with \`evenfield match\` before it is divided.`,
      );
  }
  return doubts;
}

/** `images/image-0006.fits to image-0010.fits` */
function rangeText(files: readonly string[]): string {
  const names = files.map((file) => file.split("/").at(-1)!);
  if (names.length === 0) return "";
  return names.length === 1 ? names[0]! : `${names[0]} to ${names.at(-1)}`;
}

function lowerFirst(text: string): string {
  return text.charAt(0).toLowerCase() + text.slice(1);
}
