import { mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { basename, join } from "node:path";
import { readFits } from "../../drivers/formats/fits-read.ts";
import { writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { writeFrames } from "./frame-files.ts";
import {
  benchFolder,
  compilePeer,
  inTurn,
  medianOf,
  rangeText,
  runProcess,
  tellRow,
} from "./side-by-side.ts";

/**
 * A thousand images of 2.1 Mpx divided, file to file, whole process: `evenfield apply` beside plain C, one thread each.
 * Whether the flat fits is not asked, for C does not ask either; ours sums what it reads and writes.
 */
const folder = benchFolder("apply");
const [widthPx, heightPx] = [1920, 1080];
const pxCount = widthPx * heightPx;
const files = writeFrames(folder, { count: 1000, widthPx, heightPx });
const peerC = compilePeer("divide", folder);
// Half of it 0.75, half 1.25: mean and factors are exact.
const gain = Float32Array.from({ length: pxCount }, (_, px) => (px % 2 === 0 ? 0.75 : 1.25));
const flatFile = join(folder, "flat.fits");
writeFitsFile(flatFile, [{ pixels: gain, shape: [heightPx, widthPx] }], { writtenUtcMs: 0, replace: true });
writeFileSync(
  join(folder, "factor.f32"),
  gain.map((value) => 1 / value),
);
const [ours, inC] = [join(folder, "ours"), join(folder, "c")];
mkdirSync(inC);
const program = join(import.meta.dirname, "../../agent/main.ts");
const memory: number[] = [];

const taken = inTurn(5, {
  ours: () => {
    rmSync(ours, { recursive: true, force: true });
    const command = [
      "apply",
      ...files,
      "--flat",
      flatFile,
      "--output",
      ours,
      "--as",
      "uint16",
      "--despite-move",
      "--despite-dark",
    ];
    const run = runProcess([process.execPath, program, ...command]);
    memory.push(run.mebibytes);
    return run.ms;
  },
  C: () => runProcess([peerC, "files", inC, folder, String(pxCount), ...files]).ms,
});
for (const file of [files[0]!, files[999]!]) {
  const [mine, theirs] = [ours, inC].map(
    (where) => readFits(readFileSync(join(where, basename(file))))[0]!.pixels!,
  );
  if (!mine!.every((value, px) => value === theirs![px])) throw new Error(`${file}: results differ`);
}
const row = { row: 14, what: "1000 x 2.1 Mpx divided, file to file", better: "less" } as const;
tellRow({
  ...{ ...row, measured: medianOf(taken.ours) / medianOf(taken.C), goal: 1.25, unit: "x C" },
  from: `ours ${rangeText(taken.ours)}, C ${rangeText(taken.C)}`,
});
tellRow({ ...row, measured: Math.max(...memory), goal: 96, unit: "MiB", from: "peak of 5 runs" });
rmSync(folder, { recursive: true });
