import { parentPort, workerData } from "node:worker_threads";
import { loadFft } from "../../imaging/numerics/fft-library.ts";
import { type AnyTask, type AsideName, asideTasks } from "./tasks.ts";

/** The other thread of `aside`: does one task. What it throws comes out as the thread's error. */
const { name, about } = workerData as { name: AsideName; about: readonly unknown[] };
const task = asideTasks[name] as AnyTask;
parentPort!.postMessage(task(await loadFft(), ...about));
