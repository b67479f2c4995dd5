import type { World } from "../../../sim-devices/scene/world.ts";
import type { Checker, Finding } from "./checker.ts";
import { commandBeforeBaseline } from "./command-before-baseline.ts";
import { leftAtEnd } from "./left-at-end.ts";
import { overlappingCommands } from "./overlapping-commands.ts";
import { pastLimit } from "./past-limit.ts";
import { uncoveredSlew } from "./uncovered-slew.ts";
import { unfilteredLight } from "./unfiltered-light.ts";

export const allCheckers: readonly Checker[] = [
  uncoveredSlew,
  unfilteredLight,
  pastLimit,
  overlappingCommands,
  leftAtEnd,
  commandBeforeBaseline,
];

/** What happened to the rig up to now that must never happen, in order; empty for a good run. */
export function checkWorld(world: World, checkers: readonly Checker[] = allCheckers): Finding[] {
  world.recordState();
  return checkers.flatMap((checker) => checker(world.history, world)).sort((a, b) => a.atMs - b.atMs);
}
