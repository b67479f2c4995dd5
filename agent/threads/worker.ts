import { parentPort, workerData } from "node:worker_threads";
import { taskList, type WorkKind } from "./task-list.ts";

/** The program of every second thread. What it throws comes out as the thread's error. */
const { serve } = await taskList[workerData as WorkKind]();
parentPort!.on("message", (message) => {
  const answer = (serve as (message: unknown) => unknown)(message);
  if (answer) parentPort!.postMessage(answer);
});
