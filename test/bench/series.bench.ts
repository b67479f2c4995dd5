import { readFileSync } from "node:fs";
import { MasterBuilder } from "../../agent/imaging/combining/master-builder.ts";
import { encodeFits } from "../../drivers/formats/fits-write.ts";
import { rehearseDecoding } from "../../drivers/indi/session/rehearse-decoding.ts";
import type { IndiBlob } from "../../drivers/indi/wire/blob.ts";
import { frameFromBlob } from "../../drivers/indi/wire/frame-from-blob.ts";
import { MessageReader } from "../../drivers/indi/wire/message-reader.ts";
import { Random } from "../../drivers/kit/random.ts";
import { SpareMemory } from "../../drivers/kit/spare-memory.ts";
import { medianOf, tellRow } from "./side-by-side.ts";

/**
 * A thousand frames of 9 Mpx captured and combined in one process: INDI's text of a BLOB, in pieces as a socket gives them,
 * through our reader and decoder into a live master with rejection, dark taken off, and their memory given back. No socket and
 * no exposure lie between, so that what a frame takes is all ours.
 */
const [widthPx, heightPx, frameCount, settledFrames] = [3000, 3000, 1000, 50];
const pxCount = widthPx * heightPx;
const pieceBytes = 128 * 1024;
const random = new Random(20260714);
const noise = Float32Array.from({ length: 1_000_003 }, () => 170 * random.gauss());
const sums = new Float64Array(1000);
const messages = Array.from({ length: 5 }, () => {
  let from = Math.floor(random.uniform() * noise.length);
  const pixels = new Uint16Array(pxCount);
  for (let px = 0; px < pxCount; px++) {
    pixels[px] = 30_000 + noise[from++]!;
    if (from === noise.length) from = 0;
  }
  for (let px = 0; px < sums.length; px++) sums[px]! += pixels[px]!;
  const fits = encodeFits([{ shape: [heightPx, widthPx], pixels }], 0);
  const text = Buffer.from(fits).toString("base64");
  return Buffer.from(
    `<setBLOBVector device="Cam" name="CCD1" state="Ok"><oneBLOB name="CCD1" size="${fits.length}" format=".fits" len="${fits.length}">${text}</oneBLOB></setBLOBVector>`,
  );
});

const memory = new SpareMemory();
rehearseDecoding();
let received: Uint16Array | undefined;
let revision = 0;
const reader = new MessageReader(
  {
    nextRevision: () => ++revision,
    wantsBlob: () => true,
    dropped: (why) => {
      throw new Error(why);
    },
    message: ({ elements: [element] }) => {
      if (!element?.blob || "broken" in element.blob) throw new Error("no BLOB");
      const blob = { format: ".fits", bytes: element.blob.bytes } as IndiBlob;
      received = frameFromBlob(blob, { widthPx, heightPx }).pixelsAdu;
    },
  },
  {},
  memory,
);
const dark = { meanAdu: new Float32Array(pxCount).fill(300), sigmaAdu: new Float32Array(pxCount).fill(2) };
const shape = { widthPx, heightPx };
const builder = new MasterBuilder({ shape, frameCountExpected: frameCount, kind: "light", dark });

const residentMebibytes = () =>
  Number(/VmRSS:\s*(\d+)/.exec(readFileSync("/proc/self/status", "latin1"))![1]) / 1024;
const taken: number[] = [];
const resident: number[] = [];
for (let k = 0; k < frameCount; k++) {
  const message = messages[k % messages.length]!;
  const start = Bun.nanoseconds();
  for (let at = 0; at < message.length; at += pieceBytes) reader.push(message.subarray(at, at + pieceBytes));
  if (!builder.add(received!).accepted) throw new Error(`frame ${k} was refused`);
  for (const pixels of builder.released()) memory.giveBack(pixels);
  taken.push((Bun.nanoseconds() - start) / 1e6);
  if (k + 1 >= settledFrames) resident.push(residentMebibytes());
}
const master = builder.finish();
for (let px = 0; px < sums.length; px++) {
  const apart = Math.abs(master.meanAdu[px]! - (sums[px]! / messages.length - 300));
  // Levels of frames scatter a little, and each frame is brought to the first one's.
  if (!(apart < 2)) throw new Error(`pixel ${px} differs from the plain mean by ${apart}`);
}

const what = "1000 frames of 9 Mpx, INDI text to live master";
const usual = medianOf(taken);
const later = taken.slice(1);
const late = taken.filter((ms) => ms > 2 * usual).length;
tellRow({
  ...{ row: 18, what, better: "less", goal: 16, unit: "MiB growth" },
  measured: Math.max(...resident) - resident[0]!,
  from: `resident ${resident[0]!.toFixed(0)} MiB after ${settledFrames} frames, ${Math.max(...resident).toFixed(0)} at most`,
});
tellRow({
  ...{ row: 18, what, better: "less", goal: 2, unit: "x median, latest" },
  measured: Math.max(...later) / usual,
  from: `median ${usual.toFixed(1)} ms, latest of 2 to 20 ${Math.max(...taken.slice(1, 20)).toFixed(0)} ms, after ${Math.max(...taken.slice(20)).toFixed(0)} ms; ${late} frames above twice the median, first ${taken[0]!.toFixed(0)} ms`,
});
