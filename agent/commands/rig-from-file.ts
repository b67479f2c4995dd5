import { readFileSync } from "node:fs";
import { FileProblemsError } from "../../plans/file-problems.ts";
import { type NoticesFile, readNotices } from "../../plans/notices-file.ts";
import { type Plan, readPlan } from "../../plans/plan-file.ts";
import { type RigFile, readRigFile } from "../../plans/rig-file.ts";
import { readSchedule, type Schedule } from "../../plans/schedule-file.ts";
import { wrongInput } from "./outcome.ts";

const nothingMoved = "Nothing on the rig was touched.";

/** @throws CommandError with every problem of the file, each with its line */
export function rigFromFile(file: string): RigFile {
  return checked(file, "rig file", readRigFile);
}

/** @throws CommandError with every problem of the file, each with its line */
export function planFromFile(file: string): Plan {
  return checked(file, "plan", readPlan);
}

/** @throws CommandError with every problem of the file, each with its line */
export function scheduleFromFile(file: string): Schedule {
  return checked(file, "schedule", readSchedule);
}

/** @throws CommandError with every problem of the file, each with its line */
export function noticesFromFile(file: string): NoticesFile {
  return checked(file, "notices file", readNotices);
}

/** What people write, and mistake for each other. */
const kinds = {
  plan: readPlan,
  "rig file": readRigFile,
  schedule: readSchedule,
  "notices file": readNotices,
} as const;
type Kind = keyof typeof kinds;

function checked<Read>(file: string, what: Kind, read: (text: string, file: string) => Read): Read {
  let text: string;
  try {
    text = readFileSync(file, "utf8");
  } catch (error) {
    throw wrongInput(
      nothingMoved,
      `The ${what} ${file} could not be read: ${(error as Error).message}.`,
      "Check the path.",
      error,
    );
  }
  try {
    return read(text, file);
  } catch (error) {
    if (!(error instanceof FileProblemsError)) throw error;
    const other = (Object.keys(kinds) as Kind[]).find(
      (kind) => kind !== what && isReadableAs(text, file, kinds[kind]),
    );
    if (other)
      throw wrongInput(
        nothingMoved,
        `${file} is a ${other}, where a ${what} is wanted.`,
        what === "schedule" || other === "schedule"
          ? "A plan is carried out by `evenfield run`, a schedule by `evenfield serve`; the rig file stands behind `--rig`."
          : "The plan stands by itself, the rig file behind `--rig`: evenfield run PLAN --rig RIG",
        error,
      );
    throw wrongInput(nothingMoved, error.message, "Correct the lines named above.", error);
  }
}

function isReadableAs(text: string, file: string, read: (text: string, file: string) => unknown): boolean {
  try {
    read(text, file);
    return true;
  } catch {
    return false;
  }
}
