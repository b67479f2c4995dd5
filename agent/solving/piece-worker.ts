import { parentPort } from "node:worker_threads";
import { servePieces } from "../imaging/displaced/serve-pieces.ts";
import { loadFft } from "../imaging/numerics/fft-library.ts";
import { logsOf } from "./frame-logs-on-disk.ts";

/** The second thread of a displaced solution. */
parentPort!.on("message", servePieces({ fft: await loadFft(), logs: {} }, logsOf));
