import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { toNative } from "../../drivers/formats/byte-order.ts";
import { readFits } from "../../drivers/formats/fits-read.ts";
import { encodeFits } from "../../drivers/formats/fits-write.ts";
import { Random } from "../../drivers/kit/random.ts";

/**
 * FITS bytes to native pixels, side by side with C at `gcc -O3 -march=native`, both alternating in one run:
 * one C process is asked for a few passes at a time. The first pass of a turn finds cold caches (the other side has
 * used them since), the later ones warm.
 */
const [widthPx, heightPx, turns, passes] = [3096, 2910, 15, 5];
const pxCount = widthPx * heightPx;

const peerSource = `
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
static void u16(const uint16_t *restrict in, uint16_t *restrict out, long n) {
  for (long i = 0; i < n; i++) out[i] = (uint16_t)(__builtin_bswap16(in[i]) ^ 0x8000);
}
static void w32(const uint32_t *restrict in, uint32_t *restrict out, long n) {
  for (long i = 0; i < n; i++) out[i] = __builtin_bswap32(in[i]);
}
static double now(void) { struct timespec t; clock_gettime(CLOCK_MONOTONIC, &t); return t.tv_sec * 1e3 + t.tv_nsec / 1e6; }
int main(int argc, char **argv) {
  long n = atol(argv[2]);
  char *in = malloc(4 * n), *out = malloc(4 * n);
  char line[16];
  memset(out, 1, 4 * n);
  FILE *f = fopen(argv[1], "rb");
  fseek(f, 2880, SEEK_SET);
  if (fread(in, 1, 4 * n, f) < (size_t)(2 * n)) return 1;
  while (fgets(line, sizeof line, stdin)) {
    double start = now();
    char *fresh = line[1] == 'f' ? malloc(4 * n) : out;
    if (line[0] == '2') u16((uint16_t *)in, (uint16_t *)fresh, n); else w32((uint32_t *)in, (uint32_t *)fresh, n);
    double took = now() - start;
    uint64_t sum = 0;
    for (long i = 0; i < n; i++) sum += line[0] == '2' ? ((uint16_t *)fresh)[i] : ((uint32_t *)fresh)[i] & 0xffff;
    if (fresh != out) free(fresh);
    printf("%f %llu\\n", took, (unsigned long long)sum);
    fflush(stdout);
  }
}
`;

const folder = mkdtempSync(join(tmpdir(), "fits-bench-"));
writeFileSync(join(folder, "peer.c"), peerSource);
const built = spawnSync("gcc", ["-O3", "-march=native", "-o", join(folder, "peer"), join(folder, "peer.c")], {
  encoding: "utf8",
});
if (built.status !== 0) throw new Error(`gcc: ${built.stderr}`);

const random = new Random(1);
const codes = Uint16Array.from({ length: pxCount }, () => random.uniform() * 65536);
const reals = Float32Array.from({ length: pxCount }, () => random.uniform() * 65536);

function median(values: readonly number[]): number {
  return values.toSorted((a, b) => a - b)[values.length >> 1]!;
}

async function compare(
  name: string,
  pixels: Uint16Array | Float32Array,
  peerCommand: string,
  fresh: boolean,
) {
  const file = join(folder, "in.fits");
  const bytes = encodeFits([{ pixels, shape: [heightPx, widthPx] }], 0);
  writeFileSync(file, bytes);
  const peer = Bun.spawn([join(folder, "peer"), file, String(pxCount)], { stdin: "pipe", stdout: "pipe" });
  const answers = peer.stdout.getReader();
  let pending = "";
  const ask = async (): Promise<[number, number]> => {
    await peer.stdin.write(`${peerCommand}\n`);
    await peer.stdin.flush();
    while (!pending.includes("\n")) pending += new TextDecoder().decode((await answers.read()).value);
    const [line] = pending.split("\n");
    pending = pending.slice(line!.length + 1);
    return line!.split(" ").map(Number) as [number, number];
  };
  const bytesPerPixel = pixels.BYTES_PER_ELEMENT as 2 | 4;
  const data = bytes.subarray(2880, 2880 + pixels.byteLength);
  const kept = new Uint8Array(pixels.byteLength);
  const sign = pixels instanceof Uint16Array ? "flip" : "keep";
  const pass = () => {
    const start = Bun.nanoseconds();
    let result: Uint8Array = kept;
    if (fresh) {
      const read = readFits(bytes)[0]!.pixels!;
      result = new Uint8Array(read.buffer, read.byteOffset, read.byteLength);
    } else toNative(data, kept, bytesPerPixel, sign);
    return { took: (Bun.nanoseconds() - start) / 1e6, result };
  };
  const cold = { ours: [] as number[], peer: [] as number[] };
  const warm = { ours: [] as number[], peer: [] as number[] };
  for (let turn = 0; turn < turns + 2; turn++) {
    let last: Uint8Array = kept;
    const ours = Array.from({ length: passes }, () => {
      const { took, result } = pass();
      last = result;
      return took;
    });
    const ourSum = sumOf(last, bytesPerPixel);
    const theirs: number[] = [];
    for (let index = 0; index < passes; index++) {
      const [took, peerSum] = await ask();
      if (ourSum !== peerSum) throw new Error(`${name}: the results differ`);
      theirs.push(took);
    }
    if (turn < 2) continue; // compiled by then
    cold.ours.push(ours[0]!);
    cold.peer.push(theirs[0]!);
    warm.ours.push(...ours.slice(1));
    warm.peer.push(...theirs.slice(1));
  }
  await peer.stdin.end();
  await peer.exited;
  for (const [caches, { ours, peer: theirs }] of Object.entries({ cold, warm })) {
    const [mine, peers] = [median(ours), median(theirs)];
    const times = `${mine.toFixed(2).padStart(8)} ms ${peers.toFixed(2).padStart(8)} ms`;
    console.log(`${`${name}, ${caches}`.padEnd(46)} ${times} ${(mine / peers).toFixed(2).padStart(6)} x C`);
  }
}

/** Sum of 16-bit halves or of low halves of words, so that both sides prove the same pixels. */
function sumOf(bytes: Uint8Array, bytesPerPixel: 2 | 4): number {
  const halves = new Uint16Array(bytes.buffer, bytes.byteOffset, bytes.byteLength / 2);
  let sum = 0;
  for (let i = 0; i < halves.length; i += bytesPerPixel / 2) sum += halves[i]!;
  return sum;
}

console.log(`FITS to native, ${pxCount} pixels, ${turns} turns of ${passes} passes, medians`);
console.log(`${"".padEnd(46)} ${"ours".padStart(11)} ${"C".padStart(11)}`);
await compare("uint16, into an array that is there", codes, "2k", false);
await compare("uint16, a new array, header parsed", codes, "2f", true);
await compare("float32, into an array that is there", reals, "4k", false);
await compare("float32, a new array, header parsed", reals, "4f", true);
rmSync(folder, { recursive: true });
