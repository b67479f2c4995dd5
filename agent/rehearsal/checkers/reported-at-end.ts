import type { RoleName } from "../../../drivers/roles/roles.ts";
import { roleNames } from "../../../drivers/roles/roles.ts";
import { exitCodes } from "../../run/record/exit-codes.ts";
import type { SettingRecord } from "../../run/record/run-record.ts";
import type { Violation } from "./happened.ts";

/** How an agent process ended by its own word, and how the rig stood then. */
export interface Ending {
  readonly atMs: number;
  readonly purpose: "run" | "restore";
  /** Of a run. */
  readonly exitCode?: number;
  /** What it says of each setting; left out where it says nothing of the rig. */
  readonly settings?: readonly SettingRecord[];
  /** The world's own list of what is not as it was found, a line each: `device.setting was … and is …`. */
  readonly differences: readonly string[];
  /** What nobody could know: settings lied about (`cover.open`), and roles that others moved while it was put back. */
  readonly unknowable: readonly string[];
  /** Its closing words say that the telescope may be open. */
  readonly isReportedUncovered?: boolean;
  /** What it says that it wrote, and below which folder. */
  readonly files?: readonly string[];
  readonly folder?: string;
}

const documented: readonly number[] = Object.values(exitCodes);

/** What is not as it was found is reported, and the exit code says so. */
export function reportedAtEnd(ending: Ending): Violation[] {
  const { atMs, exitCode, settings = [], differences, unknowable } = ending;
  const violations: Violation[] = [];
  const find = (name: string, what: string) => violations.push({ atMs, class: name, what });
  if (exitCode === 1) find("fault of ours", "exit code 1");
  else if (exitCode !== undefined && !documented.includes(exitCode))
    find("wrong exit code", `exit code ${exitCode}`);
  const reportedRoles = new Set(settings.filter(({ state }) => state !== "same").map(({ role }) => role));
  for (const line of differences) {
    const role = roleOf(line);
    if (role === "cover" && ending.isReportedUncovered) continue;
    const setting = line.slice(0, line.indexOf(" was "));
    if (unknowable.includes(setting)) continue;
    if (role && (unknowable.includes(role) || reportedRoles.has(role))) continue;
    find(
      `unreported ${line.includes(".CONNECTION ") ? "connection" : (role ?? "setting")}`,
      `${line}, and nothing of it was said (exit code ${exitCode ?? "none"})`,
    );
  }
  const isLeft = settings.some(({ state }) => state === "different");
  if (exitCode !== undefined && isLeft !== (exitCode === 6))
    find(
      "wrong exit code",
      `exit code ${exitCode}, and ${isLeft ? "something" : "nothing"} is said to be left`,
    );
  return violations;
}

/** The role of a line of differences: `cover.open was …`, `Scene Cover.CONNECTION was …`, `Scene Cover (Alpaca).…`. */
export function roleOf(line: string): RoleName | undefined {
  const device = line.slice(0, line.indexOf(".")).toLowerCase();
  const word = device.replace(/^scene /, "").replace(/ \(alpaca\)$/, "");
  return roleNames.find((role) => role === word) ?? (word === "shutter" ? "dome" : undefined);
}
