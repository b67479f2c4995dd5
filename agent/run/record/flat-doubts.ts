import type { FlatCheckRecord, ImagesFound } from "../../procedures/images/images-request.ts";
import { foundBy } from "./found-in-record.ts";
import type { StepRecord } from "./run-record.ts";

/** What the checks of a run's images say against their flat, in sentences with what to do. */
export interface ImageWarnings {
  /** Images to the end of their series that no flat of the run is known to fit. */
  readonly unserved: readonly string[];
  /** Images between the move of the train and the new flat, and which flat they belong to. */
  readonly between: readonly string[];
  /** Why each new flat was taken. */
  readonly newFlats: readonly string[];
}

export function imageWarnings(steps: readonly StepRecord[]): ImageWarnings {
  const doubts = { unserved: [] as string[], between: [] as string[], newFlats: [] as string[] };
  for (const [index, step] of steps.entries()) {
    if (step.kind === "flat" && step.because !== undefined) doubts.newFlats.push(step.because);
    const images: Partial<ImagesFound> | undefined = foundBy(step, "images");
    if (!images) continue;
    const { checks = [], doubtful = [], moved = [] } = images;
    const wentOn = checks.find(({ outcome }) => outcome === "went on");
    if (wentOn) {
      doubts.unserved.push(`${unservedText(wentOn, doubtful[0] ?? moved[0])} ${whatToDo}`);
      continue;
    }
    if (doubtful.length > 0)
      doubts.between.push(
        `Whether ${rangeText(doubtful)} belong to the flat before or after the move can't be told: hold each against both with \`evenfield match\`.`,
      );
    const [next] = steps.slice(index).flatMap((after) => foundBy(after, "flat") ?? []);
    if (moved.length > 0 && next)
      doubts.between.push(
        `${rangeText(moved)} were taken after the train had moved: divide them by ${next.files.flat}.`,
      );
  }
  return doubts;
}

const whatToDo =
  "Take a flat with the train as it is now, and hold the images against it with `evenfield match`.";

function unservedText(
  { says, text, afterImages, because }: FlatCheckRecord,
  first: string | undefined,
): string {
  const why = `No new one was taken: ${because}.`;
  if (says === "none") return `The images have no flat. ${why}`;
  const from = first === undefined ? "" : ` It may be so from ${nameOf(first)} on.`;
  return `The flat no longer fits the images: after image ${afterImages} ${lowerFirst(text)}${from} ${why}`;
}

/** `image-0006.fits to image-0010.fits` */
export function rangeText(files: readonly string[]): string {
  const names = files.map(nameOf);
  if (names.length === 0) return "";
  return names.length === 1 ? names[0]! : `${names[0]} to ${names.at(-1)}`;
}

function lowerFirst(text: string): string {
  return text.charAt(0).toLowerCase() + text.slice(1);
}

function nameOf(file: string): string {
  return file.split("/").at(-1)!;
}
