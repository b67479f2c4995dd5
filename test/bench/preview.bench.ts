import { rmSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { encodePng } from "../../agent/outputs/png.ts";
import { percentileRange, toGrey } from "../../agent/outputs/stretch.ts";
import { Random } from "../../drivers/kit/random.ts";
import {
  benchFolder,
  inTurn,
  medianOf,
  milliseconds,
  rangeText,
  runProcess,
  tellRow,
} from "./side-by-side.ts";

/** A grey PNG preview of 9 Mpx, from counts to a file, stretch included, beside numpy and PIL (Debian's python3-pil). */
const [widthPx, heightPx, turns] = [3000, 3000, 5];
const python = "/usr/bin/python3";
if (Bun.spawnSync([python, "-c", "import PIL"]).exitCode !== 0) {
  console.log("left out: the peer is not there (apt-get install python3-pil)");
  process.exit(0);
}
const folder = benchFolder("preview");
const random = new Random(20260714);
const pixels = Uint16Array.from({ length: widthPx * heightPx }, (_, px) => {
  const [x, y] = [(px % widthPx) / widthPx - 0.5, Math.floor(px / widthPx) / heightPx - 0.5];
  return 30_000 * (1 - 0.4 * (x * x + y * y)) + 200 * random.gauss();
});
writeFileSync(join(folder, "image.u16"), pixels);
const ourFile = join(folder, "ours.png");
const ours = () =>
  milliseconds(() => {
    const bytes = toGrey(pixels, percentileRange(pixels)!);
    writeFileSync(ourFile, encodePng({ widthPx, heightPx, bytes }));
  });
const script = join(import.meta.dirname, "peers/preview.py");
ours(); // the first time compiles
const peer: string[] = [];
const taken = inTurn(turns, {
  ours,
  theirs: () => {
    const lines = runProcess([python, script, "1", String(widthPx), String(heightPx), folder]).text.split(
      "\n",
    );
    peer.push(lines[1]!);
    return Number(lines[0]);
  },
});
for (const line of peer) if (!/^differs [01]$/.test(line)) throw new Error(`pixels of the PNG: ${line}`);
const sizes = ["ours.png", "theirs.png"].map((name) => (statSync(join(folder, name)).size / 1e6).toFixed(1));
tellRow({
  ...{
    row: 16,
    what: "grey PNG preview of 9 Mpx, stretch included",
    better: "more",
    goal: 4.5,
    unit: "x PIL",
  },
  measured: medianOf(taken.theirs) / medianOf(taken.ours),
  from: `ours ${rangeText(taken.ours)}, ${sizes[0]} MB; PIL ${rangeText(taken.theirs)}, ${sizes[1]} MB`,
});
rmSync(folder, { recursive: true });
