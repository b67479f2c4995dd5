import { parentPort, workerData } from "node:worker_threads";
import { taskList, type WorkKind } from "./task-list.ts";

/** The program of every second thread. What it throws comes out as the thread's error. */
const serve = (await taskList[workerData as WorkKind]()) as (message: unknown) => object | undefined;
parentPort!.on("message", (message) => {
  const answer = serve(message);
  if (answer) parentPort!.postMessage(answer);
});
