import { correlateFrame } from "./correlate-frame.ts";
import {
  addWeights,
  applyNormalEquations,
  binResiduals,
  shiftSums,
  sumObject,
  sumQuarters,
  sumResiduals,
  sumSquares,
} from "./passes.ts";
import type { TaskContext } from "./task-tools.ts";

/** All that is done in pieces: each gives a part of the rows, or a frame, of what it is about. */
export const solverTasks = {
  correlateFrame,
  addWeights,
  sumObject,
  sumResiduals,
  sumSquares,
  applyNormalEquations,
  shiftSums,
  binResiduals,
  sumQuarters,
} as const;

export type TaskName = keyof typeof solverTasks;
export type TaskAbout<Name extends TaskName> = Parameters<(typeof solverTasks)[Name]>[1];
/** Every task fits this when its name and what it is about do. */
export type AnyTask = (tools: TaskContext, about: unknown, piece: number) => Generator<void>;
