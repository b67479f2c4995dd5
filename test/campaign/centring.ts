import { centre } from "../../agent/procedures/centre/centre.ts";
import type { CentreFound } from "../../agent/procedures/centre/centre-request.ts";
import type { StepOutcome, Workbench } from "../../agent/procedures/step.ts";
import { readBaseline } from "../../agent/run/ledger/baseline.ts";
import { restoreBaseline } from "../../agent/run/restoring/restore.ts";
import { newFront } from "../../agent/safing/front.ts";
import { Threads } from "../../agent/threads/threads.ts";
import { connectRig } from "../../drivers/connect.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { neverAborted } from "../../drivers/kit/never-aborted.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import type { Rig } from "../../drivers/roles/rig.ts";
import { drawScene } from "../../sim-devices/scene/spec/draw-scene.ts";
import { overrideScene } from "../../sim-devices/scene/spec/override-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import type { World } from "../../sim-devices/scene/world.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";

/** What became of one scene, by the world's own account. */
export interface CentringRow {
  readonly seed: number;
  /** Disc diameters over the frame's height. */
  readonly discPerHeight: number;
  readonly startErrorDegrees: number;
  readonly ended: StepOutcome<unknown>["ended"] | "threw";
  readonly why: string;
  /** Of the disc's centre from the optical axis when the step ended, over the disc's diameter. */
  readonly offsetFraction: number;
  readonly frameCount: number;
  readonly seconds: number;
  /** The cover's open fraction after a step that did not complete. */
  readonly uncoveredAfterFailure: number;
  /** What is not as it was before, after the baseline was restored. */
  readonly differences: readonly string[];
}

export interface CentringResult {
  readonly rows: readonly CentringRow[];
  readonly centred: number;
  readonly leftUncovered: number;
  readonly offBaseline: number;
}

/** What the acceptance asks for: a fifth of a percent of the disc's diameter. */
const toleranceFraction = 0.002;
const sensors = [
  { widthPx: 320, heightPx: 240 },
  { widthPx: 480, heightPx: 360 },
  { widthPx: 640, heightPx: 480 },
];

/**
 * Centres the Sun in one drawn scene per seed over the real protocol in memory: discs from a third of the frame's
 * height to three times it, every camera angle, both parities, mounts up to 1.5 degrees wrong.
 */
export async function run(
  seeds: readonly number[],
  onRow: (row: CentringRow) => void = () => {},
): Promise<CentringResult> {
  const rows: CentringRow[] = [];
  for (const seed of seeds) {
    const row = await centreOnce(seed);
    rows.push(row);
    onRow(row);
  }
  return {
    rows,
    centred: rows.filter((row) => row.ended === "completed" && row.offsetFraction <= toleranceFraction)
      .length,
    leftUncovered: rows.filter((row) => row.uncoveredAfterFailure > 0).length,
    offBaseline: rows.filter((row) => row.differences.length > 0).length,
  };
}

async function centreOnce(seed: number): Promise<CentringRow> {
  const drawn = drawScene(seed, { camera: new Random(seed).fork("sensor").pick(sensors) });
  const spec = overrideScene(drawn, { mount: { startPointing: aboveHorizon(drawn) } });
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  const simulator = await startSimulator({ spec, clock });
  try {
    return await clock.drive(inScene(spec, clock, simulator));
  } finally {
    await simulator.close();
  }
}

/** A mount that stands where it could be sent: near the pole that is above the horizon. */
function aboveHorizon({ mount, site }: SceneSpec): { decDegrees: number } {
  return { decDegrees: Math.sign(site.latitudeDegrees) * mount.startPointing.decDegrees };
}

type Simulator = Awaited<ReturnType<typeof startSimulator>>;

async function inScene(spec: SceneSpec, clock: VirtualClock, simulator: Simulator): Promise<CentringRow> {
  const { world } = simulator;
  const startMs = clock.nowMs();
  const signal = new AbortController().signal;
  const entry = (device: string) => ({ server: "scene", device });
  await using opened = await connectRig(
    {
      servers: { scene: { indi: { host: "127.0.0.1", port: 7624 } } },
      devices: {
        camera: entry("Scene Camera"),
        mount: entry("Scene Mount"),
        cover: entry("Scene Cover"),
        diffuser: entry("Scene Diffuser"),
      },
    },
    { clock, log: silentLog, random: new Random(spec.seed), openers: () => simulator.openIndi },
    signal,
  );
  const { rig } = opened;
  opened.seal.open();
  const before = world.account();
  const baseline = (await readBaseline(rig, signal)).map((one) => ({ ...one, restored: false }));
  const outcome = await centreStep(spec, clock, rig);
  const offsetFraction = trueOffsetFraction(world);
  const uncoveredAfterFailure = outcome.ended === "completed" ? 0 : world.cover.position;
  const seconds = (clock.nowMs() - startMs) / 1000;
  await restoreBaseline({
    rig,
    site: spec.site,
    front: newFront(),
    findings: { lightRate: {} },
    baseline,
    clock,
    log: silentLog,
    signal,
    retreatedBecause: [],
    whyKeepCovered: async () => [],
    weatherAgainst: async () => undefined,
  });
  const { east, north } = spec.mount.pointingErrorDegrees;
  return {
    seed: spec.seed,
    discPerHeight: discPerHeight(spec),
    startErrorDegrees: Math.hypot(east, north),
    ended: outcome.ended,
    why: outcome.failure?.message ?? outcome.found?.way ?? "",
    offsetFraction,
    frameCount: outcome.found?.frameCount ?? 0,
    seconds,
    uncoveredAfterFailure,
    differences: accountDifferences(before, world.account()),
  };
}

async function centreStep(spec: SceneSpec, clock: VirtualClock, rig: Rig): Promise<StepOutcome<CentreFound>> {
  const bench: Workbench = {
    rig,
    front: newFront(),
    whyKeepCovered: async () => [],
    clock,
    random: new Random(spec.seed).fork("centre"),
    log: silentLog,
    threads: new Threads(() => {}),
    optics: spec.optics,
    site: spec.site,
    folder: "",
    findings: { lightRate: {} },
    abandoned: neverAborted,
    progress: () => {},
    note: () => {},
  };
  const request = {
    toleranceFraction,
    searchDegrees: 2,
    sunAltitudeDegreesMin: 10,
    brightnessTripFactor: 4,
    coverAfter: "open",
  } as const;
  return centre({ bench, request }, neverAborted);
}

function trueOffsetFraction(world: World): number {
  const { sunEastArcsec, sunNorthArcsec, sunSemidiameterArcsec } = world.lightPathNow();
  return Math.hypot(sunEastArcsec, sunNorthArcsec) / (2 * sunSemidiameterArcsec);
}

function discPerHeight({ optics, camera }: SceneSpec): number {
  const discMm = (2 * 959.63 * Math.PI * optics.focalLengthMm) / 648_000;
  return (discMm * 1000) / camera.pixelMicron / camera.heightPx;
}

export function rowText(row: CentringRow): string {
  return [
    String(row.seed).padStart(5),
    row.ended.padEnd(9),
    `disc ${row.discPerHeight.toFixed(2)} of the height`,
    `start ${row.startErrorDegrees.toFixed(2)}° off`,
    `centred to ${(row.offsetFraction * 100).toFixed(3)} %`,
    `${String(row.frameCount).padStart(3)} frames`,
    `${row.seconds.toFixed(0).padStart(4)} s`,
    row.why,
    ...row.differences,
  ].join("  ");
}

export function resultText({ rows, centred, leftUncovered, offBaseline }: CentringResult): string {
  const offsets = rows.map((row) => row.offsetFraction).sort((a, b) => a - b);
  const share = (fraction: number) =>
    `${((offsets[Math.floor(fraction * (offsets.length - 1))] ?? 0) * 100).toFixed(3)} %`;
  return [
    `centred to 0.2 % of the disc's diameter: ${centred} of ${rows.length}`,
    `offset: median ${share(0.5)}, 95 % below ${share(0.95)}, worst ${share(1)}`,
    `left uncovered after a failure: ${leftUncovered}`,
    `not as found after restoring: ${offBaseline}`,
  ].join("\n");
}
