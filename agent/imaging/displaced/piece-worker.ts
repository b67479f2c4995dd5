import { parentPort } from "node:worker_threads";
import { loadFft } from "../numerics/fft-library.ts";
import { servePieces } from "./serve-pieces.ts";

/** The second thread of a displaced solution. */
parentPort!.on("message", servePieces({ fft: await loadFft(), logs: {} }));
