import type { FftLibrary } from "../numerics/fft-library.ts";
import type { FrameLogs, SharedLogs } from "./frame-logs.ts";
import type { SeriesCorrelator } from "./series-correlator.ts";
import { kernelsAt, type SharedKernels, type SweepLoops } from "./sweep-kernels.ts";

/** At full resolution, and of what is left over at a quarter of it. */
export type Scale = "full" | "coarse";

/** What a thread has at hand for its pieces; it comes as the solution goes on. */
export interface TaskContext {
  fft?: FftLibrary;
  kernels?: SweepLoops;
  logs: Partial<Record<Scale, FrameLogs>>;
  /** Made when it is first needed. */
  correlator?: SeriesCorrelator;
}

/** The same as plain data, cloned from thread to thread without the pixels, which all see. */
export interface SharedTools {
  readonly kernels?: SharedKernels;
  readonly logs?: Partial<Record<Scale, SharedLogs>>;
}

/** How logarithms that another thread shares are reached. */
export type LogsOf = (shared: SharedLogs) => FrameLogs;

export function adoptTools(tools: TaskContext, { kernels, logs }: SharedTools, logsOf: LogsOf): void {
  if (kernels) tools.kernels = kernelsAt(kernels);
  if (logs?.full) tools.logs.full = logsOf(logs.full);
  if (logs?.coarse) tools.logs.coarse = logsOf(logs.coarse);
}
