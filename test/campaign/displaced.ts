import { patterns } from "./displaced-scene/patterns.ts";
import { realSun } from "./displaced-scene/real-sun.ts";
import { usualSun } from "./displaced-scene/sun-texture.ts";
import { type Trial, type TrialPlan, trial } from "./displaced-scene/trial.ts";

export interface DisplacedRow extends Omit<Trial, "scene" | "dropped" | "anchorsApartSigmas"> {
  readonly name: string;
  readonly dropped: number;
  /** Each limit that is broken, in words. */
  readonly broken: readonly string[];
}

interface Case {
  readonly name: string;
  readonly plan: Omit<TrialPlan, "seed">;
  /** Most of solved / floor. */
  readonly overFloor?: number;
  /** Most of solved / plain average. */
  readonly ofAverage?: number;
  /** Most of the plane left, as a fraction. */
  readonly plane?: number;
}

const usual = (reachPx: number, count: number): Case => ({
  name: `A ${reachPx}, N ${count}`,
  plan: { pattern: patterns.spiral(count, reachPx) },
  ofAverage: 0.2,
  ...(reachPx >= 48 ? { overFloor: 1.3 } : count >= 50 ? { overFloor: 1.5 } : {}),
});

const tableCases = [16, 48, 96, 160].flatMap((reachPx) =>
  [30, 50, 100].map((count) => usual(reachPx, count)),
);

const spiral = patterns.spiral(50, 96);
const quiet = (factor: number) => ({
  textureRms: [0.07 * factor, 0.03 * factor, 0.02 * factor] as const,
  activeRegions: false,
});

/** Limits are what an independent program reached in scenes of this kind, one of each, with 10 % for the luck of the draw. */
const variationCases: Case[] = [
  { name: "quiet Sun, 7.9 %", plan: { pattern: spiral, sun: quiet(1) }, overFloor: 1.25 },
  { name: "quiet Sun, 2.4 %", plan: { pattern: spiral, sun: quiet(0.3) }, overFloor: 1.25 },
  { name: "quiet Sun, 0.8 %", plan: { pattern: spiral, sun: quiet(0.1) }, overFloor: 1.25 },
  { name: "circle", plan: { pattern: patterns.circle(50, 96) }, overFloor: 1.25 },
  { name: "grid of 7 x 7", plan: { pattern: patterns.grid(49, 96) }, overFloor: 1.25 },
  { name: "Lissajous 5:7", plan: { pattern: patterns.lissajous(50, 96) }, overFloor: 1.25 },
  { name: "straight line", plan: { pattern: patterns.line(50, 96) }, overFloor: 4.5 },
  { name: "disc centre 40 px off", plan: { pattern: spiral, discOffPx: 40 }, overFloor: 1.25 },
  { name: "seeing 0.3 to 3 px", plan: { pattern: spiral, seeingPx: [0.3, 3] }, overFloor: 1.47 },
  { name: "texture evolves by 3 %", plan: { pattern: spiral, evolvingRms: 0.03 }, overFloor: 1.9 },
  { name: "texture evolves by 6 %", plan: { pattern: spiral, evolvingRms: 0.06 }, overFloor: 3.1 },
  { name: "haze, 1 % gradients", plan: { pattern: spiral, hazeGradient: 0.01 }, overFloor: 1.84 },
  {
    name: "levels steady to 0.02 %",
    plan: { pattern: spiral, whiteScatter: 0.0002 },
    overFloor: 1.3,
    plane: 0.003,
  },
  {
    name: "levels steady, A 48",
    plan: { pattern: patterns.spiral(50, 48), whiteScatter: 0.0002 },
    overFloor: 1.3,
    plane: 0.003,
  },
  {
    name: "3 % spoiled, 5 % jumps",
    plan: { pattern: spiral, spoiledShare: 0.03, jump: 0.05 },
    overFloor: 1.4,
    ofAverage: 0.2,
  },
  {
    name: "3 % spoiled, 5 % jumps, A 48, N 100",
    plan: { pattern: patterns.spiral(100, 48), spoiledShare: 0.03, jump: 0.05 },
    overFloor: 1.4,
    ofAverage: 0.2,
  },
];

const realCases = () => {
  const surface = realSun(0.12, 700);
  return [48, 96, 160].map((reachPx, k) => ({
    name: `real Sun, A ${reachPx}`,
    plan: { pattern: patterns.spiral(50, reachPx), surface },
    ofAverage: 0.1,
    overFloor: [2.3, 1.5, 1.25][k]!,
  }));
};

const discCases: Case[] = [80, 160, 200].map((reachPx, k) => ({
  name: `full disc, A ${reachPx}`,
  plan: {
    pattern: patterns.spiral(60, reachPx),
    disc: { radiusPx: 150, fromMiddleX: 0, fromMiddleY: 0 },
    discOffPx: 0,
    limbShiftsOffPx: 0.3,
  },
  overFloor: [1.4, 1.4, 1.4][k]!,
}));

export const groups = {
  table: () => tableCases,
  variations: () => variationCases,
  real: realCases,
  disc: () => discCases,
  /** One scene for everyday tests. */
  sample: (): Case[] => [
    {
      name: "A 96, N 30, 3 % spoiled, 5 % jumps",
      plan: { pattern: patterns.spiral(30, 96), sun: usualSun, spoiledShare: 0.03, jump: 0.05 },
      overFloor: 1.4,
      ofAverage: 0.2,
    },
  ],
} as const;

/** Solves scenes with known truth; each row is the mean over scenes and tells which of its limits it broke. */
export async function run(options: {
  readonly seed: number;
  readonly group: keyof typeof groups;
  readonly scenes?: number;
  readonly print?: (line: string) => void;
}): Promise<DisplacedRow[]> {
  const { seed, group, scenes = 1, print } = options;
  const rows: DisplacedRow[] = [];
  print?.(`Displaced flats, ${group}: mean of ${scenes} scene(s) from seed ${seed}, percent of the gain`);
  print?.(`  ${"".padEnd(36)} average  solved   floor  x floor  own sigma   plane  shift px  dropped`);
  for (const one of groups[group]()) {
    const trials: Trial[] = [];
    for (let k = 0; k < scenes; k++) trials.push(await trial({ ...one.plan, seed: seed + k }));
    const row = rowOf(one, trials);
    rows.push(row);
    print?.(rowText(row));
  }
  return rows;
}

function rowOf(one: Case, trials: readonly Trial[]): DisplacedRow {
  const mean = (of: (trial: Trial) => number) =>
    trials.reduce((sum, trial) => sum + of(trial), 0) / trials.length;
  const spoiledUsed = mean(({ scene, dropped }) => scene.spoiled.filter((k) => !dropped.includes(k)).length);
  const row = {
    name: one.name,
    average: mean((trial) => trial.average),
    solved: mean((trial) => trial.solved),
    floor: mean((trial) => trial.floor),
    plane: mean((trial) => trial.plane),
    expected: mean((trial) => trial.expected),
    shiftErrorPx: mean((trial) => trial.shiftErrorPx),
    dropped: mean((trial) => trial.dropped.length),
  };
  const limits: [string, number, number | undefined][] = [
    ["solved over floor", row.solved / row.floor, one.overFloor],
    ["solved over average", row.solved / row.average, one.ofAverage],
    ["plane", row.plane, one.plane],
    ["spoiled frames used", spoiledUsed, 0],
  ];
  const broken = limits.flatMap(([name, is, most]) =>
    most !== undefined && !(is <= most) ? [`${name} ${is.toFixed(4)}, at most ${most}`] : [],
  );
  return { ...row, broken };
}

export function rowText(row: DisplacedRow): string {
  const percent = (fraction: number) => (100 * fraction).toFixed(3).padStart(7);
  const figures = [
    percent(row.average),
    percent(row.solved),
    percent(row.floor),
    (row.solved / row.floor).toFixed(2).padStart(8),
    percent(row.expected).padStart(10),
    percent(row.plane),
    row.shiftErrorPx.toFixed(3).padStart(9),
    row.dropped.toFixed(1).padStart(8),
  ].join(" ");
  const broken = row.broken.length > 0 ? `  BROKEN: ${row.broken.join("; ")}` : "";
  return `  ${row.name.padEnd(36)} ${figures}${broken}`;
}
