import { type SharedTools, type TaskTools, takeUp } from "../imaging/displaced/task-tools.ts";
import { tasks } from "../imaging/displaced/tasks.ts";
import { loadFft } from "../imaging/numerics/fft-library.ts";
import { logsOf } from "../open-files/frame-logs-on-disk.ts";
import { servePieces, type Task } from "./serve-pieces.ts";

const tools: TaskTools = { fft: await loadFft(), logs: {} };

export const serve = servePieces(tasks as Record<string, Task<TaskTools>>, tools, (own, more) =>
  takeUp(own, more as SharedTools, logsOf),
);
