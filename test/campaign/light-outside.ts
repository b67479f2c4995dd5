import { readFileSync } from "node:fs";
import { join } from "node:path";
import { causeOfMap } from "../../agent/imaging/light/light-cause.ts";
import type { LightMeasurement } from "../../agent/imaging/light/measure-light.ts";
import { measureResponse, responseAt } from "../../agent/imaging/light/sensor-response.ts";
import { lightFigures } from "../../agent/imaging/proof/light-figures.ts";
import { curveOfFlat, responseFigures } from "../../agent/imaging/proof/response-figures.ts";
import { Random } from "../../drivers/kit/random.ts";
import { type LooksScene, measureLooks } from "../outside/light/measure-looks.ts";
import { runPython } from "../outside/python.ts";
import { printTable } from "./print-table.ts";

const ladderScript = readFileSync(join(import.meta.dirname, "../outside/light/ladder.py"), "utf8");

/** What of a flat's light, or of the pictures', is wrong. */
type Cause = "none" | "clear share" | "falls off" | "reflection" | "light" | "response";

interface LightCase {
  readonly name: string;
  readonly scenes: readonly LooksScene[];
  readonly cause: Cause;
  readonly draw: (random: Random) => Record<string, number | string>;
}

const motions = [-2, -1, 0, 0.5] as const;
const lightCases: readonly LightCase[] = [
  { name: "even", scenes: ["A", "B"], cause: "none", draw: () => ({}) },
  ...[0.01, 0.03].map((size) => ({
    name: `clear share ${100 * size} %`,
    scenes: ["A"] as const,
    cause: "clear share" as const,
    draw: () => ({ error: "share", size }),
  })),
  {
    name: "clear share 0.2 to 3 %",
    scenes: ["A"],
    cause: "clear share",
    draw: (random) => ({ error: "share", size: random.between(0.002, 0.03) }),
  },
  {
    name: "falls off by 3 %",
    scenes: ["A", "B"],
    cause: "falls off",
    draw: () => ({ error: "fall-off", size: 0.03 }),
  },
  ...[0.005, 0.03].map((ghost) => ({
    name: `reflection of ${100 * ghost} %`,
    scenes: ["A", "B"] as const,
    cause: "reflection" as const,
    draw: (random: Random) => ({ ghost, ghostMotion: random.pick(motions) }),
  })),
];

/** Light and sensors made by numpy alone: is what is wrong told, and by its right cause? */
export async function run(options: {
  readonly seed: number;
  readonly count: number;
  readonly print?: (line: string) => void;
}): Promise<void> {
  const { seed, count, print } = options;
  const lines: [string, string | number, string][] = [];
  for (const one of lightCases) lines.push(...(await lightRow(one, seed, count, print)));
  for (const size of [0, 0.02, 0.05]) lines.push(responseRow(size, seed, count, print));
  printTable(print, `Light by numpy: ${count} of each, seed ${seed}`, lines);
}

async function lightRow(
  { name, scenes, cause, draw }: LightCase,
  seed: number,
  count: number,
  print: ((line: string) => void) | undefined,
): Promise<[string, string, string][]> {
  const random = new Random(seed).fork(name);
  let right = 0;
  const off: number[] = [];
  for (let k = 0; k < count; k++) {
    const scene = scenes[k % scenes.length]!;
    const drawn = { seed: random.whole(1, 2 ** 31), ...draw(random) };
    const { light } = await measureLooks(scene, drawn, { asksClearShare: true });
    const found = causeFound(light);
    if (found === cause || (cause === "clear share" && isClear(light))) right++;
    else print?.(`  ${name}, ${scene}, ${JSON.stringify(drawn)}: ${found} (${describe(light)})`);
    if (cause === "clear share")
      off.push(Math.abs((light.clearShare?.share ?? 0) - Number((drawn as { size?: number }).size)));
  }
  const within = off.filter((one) => one <= 0.001).length;
  return [
    [name, `${right} of ${count}`, "99 of 100"],
    ...(off.length > 0
      ? ([
          [
            `${name}, found to 0.1 % of the light`,
            `${within} of ${count}, worst ${(100 * Math.max(...off)).toFixed(3)} %`,
            "all",
          ],
        ] as [string, string, string][])
      : []),
  ];
}

function isClear({ clearShare }: LightMeasurement): boolean {
  return clearShare !== undefined && clearShare.share > 3 * clearShare.sigma;
}

/** As a reader of the verdict is told it: what is not good, the clear share before reflections before the map. */
function causeFound(light: LightMeasurement): Cause {
  const doubted = lightFigures(light)
    .filter(({ verdict }) => verdict !== "good")
    .map(({ id }) => id);
  if (doubted.includes("clearShare")) return "clear share";
  if (doubted.includes("reflection")) return "reflection";
  if (doubted.length === 0) return "none";
  return causeOfMap(light.map)?.kind === "falls off" ? "falls off" : "light";
}

function describe(light: LightMeasurement): string {
  const { ghosts, clearShare, surely } = light;
  const gains = ghosts.scan.map(({ motion, gain }) => `${motion}: ${gain.toFixed(2)}`).join(" ");
  return `surely ${(100 * surely.worst).toFixed(2)} %, clear ${(100 * (clearShare?.share ?? 0)).toFixed(2)} ± ${(100 * (clearShare?.sigma ?? 0)).toFixed(2)} %, moves ${ghosts.moves}, gains ${gains}`;
}

function responseRow(
  size: number,
  seed: number,
  count: number,
  print: ((line: string) => void) | undefined,
): [string, string, string] {
  const random = new Random(seed).fork(`response ${size}`);
  let [right, near] = [0, 0];
  for (let k = 0; k < count; k++) {
    const drawn = { seed: random.whole(1, 2 ** 31), curve: size === 0 ? "none" : "quadratic", size };
    const ladder = runPython(ladderScript, [JSON.stringify(drawn)]);
    const response = measureResponse(ladder.steps)!;
    const errors = (ladder.at as number[]).map((level, j) => responseAt(response, level) - ladder.truth[j]);
    const mean = errors.reduce((sum, value) => sum + value, 0) / errors.length;
    const rms = Math.sqrt(errors.reduce((sum, value) => sum + (value - mean) ** 2, 0) / errors.length);
    if (rms <= 0.0005) near++;
    const found = responseFigures(curveOfFlat(response, ...flatOf(ladder.gain))).some(
      ({ value }) => value > 0,
    );
    if (found === size > 0) right++;
    else
      print?.(
        `  response ${size}, seed ${drawn.seed}: ${found ? "told" : "not told"}, curve off by ${(100 * rms).toFixed(3)} %`,
      );
  }
  return [
    size === 0 ? "straight response, nothing told" : `response bent by ${100 * size} %, told`,
    `${right} of ${count}; curve to 0.05 %: ${near}`,
    "99 of 100, all",
  ];
}

const sampledPx = 16;
const columns = 40;

/** The rig of the ladder, whose gain is sampled every so many pixels, 1 where it is brightest. */
function flatOf(
  samples: readonly number[],
): [Parameters<typeof curveOfFlat>[1], Parameters<typeof curveOfFlat>[2]] {
  const shape = { widthPx: columns * sampledPx, heightPx: (samples.length / columns) * sampledPx };
  const mean = samples.reduce((sum, one) => sum + one, 0) / samples.length;
  const gain = Float32Array.from({ length: shape.widthPx * shape.heightPx }, (_, i) => {
    const [column, row] = [(i % shape.widthPx) / sampledPx, Math.floor(i / shape.widthPx) / sampledPx].map(
      Math.floor,
    );
    return samples[row! * columns + column!]! / mean;
  });
  const edge = 0.85;
  return [
    { gain, mask: new Uint8Array(gain.length), shape },
    { edge, mean: edge * mean },
  ];
}
