import { correlate } from "./correlate-frame.ts";
import { binLeft, count, gather, halves, normal, scatter, shiftSums, squares } from "./passes.ts";
import type { TaskTools } from "./task-tools.ts";

/** All that is done in pieces: each gives a part of the rows, or a frame, of what it is about. */
export const tasks = {
  correlate,
  count,
  scatter,
  gather,
  squares,
  normal,
  shiftSums,
  binLeft,
  halves,
} as const;

export type TaskName = keyof typeof tasks;
export type TaskAbout<Name extends TaskName> = Parameters<(typeof tasks)[Name]>[1];
/** Every task fits this when its name and what it is about do. */
export type AnyTask = (tools: TaskTools, about: unknown, piece: number) => Generator<void>;
