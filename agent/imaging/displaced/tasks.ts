import { correlate } from "./correlate-frame.ts";
import { binLeft, count, gather, halves, normal, scatter, shiftSums, squares } from "./passes.ts";

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
