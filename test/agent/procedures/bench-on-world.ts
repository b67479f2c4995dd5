import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { StepFindings } from "../../../agent/procedures/findings.ts";
import type { Step } from "../../../agent/procedures/run-step.ts";
import type { StepOutcome, Workbench } from "../../../agent/procedures/step.ts";
import { newFront } from "../../../agent/safing/front.ts";
import { Threads } from "../../../agent/threads/threads.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import { ScenePainter } from "../../../sim-devices/scene/painter.ts";
import { drawScene } from "../../../sim-devices/scene/spec/draw-scene.ts";
import type { SceneOverrides } from "../../../sim-devices/scene/spec/override-scene.ts";
import type { SceneSpec } from "../../../sim-devices/scene/spec/scene-spec.ts";
import { World } from "../../../sim-devices/scene/world.ts";
import { rigOnWorld } from "./centre/rig-on-world.ts";

/** A mount that needs no centring. */
export const stillMount = {
  pointingErrorDegrees: { east: 0, north: 0 },
  driftArcsecPerSecond: { east: 0, north: 0 },
} as const;

/**
 * A simulated rig on a virtual clock, and everything that a procedure works with.
 * @param flaws of light, air and sensor: 1 is modest, 0 none, where noise is all that is looked at
 */
export function benchOnWorld(seed: number, overrides: SceneOverrides = {}, flaws = 1) {
  const scene = {
    ...overrides,
    camera: { widthPx: 256, heightPx: 192, ...overrides.camera },
    mount: { ...stillMount, ...overrides.mount },
  };
  return benchOnScene(drawScene(seed, scene, flaws));
}

export function benchOnScene(spec: SceneSpec) {
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  const painter = new ScenePainter(spec);
  const world = new World({ spec, clock, paint: (light, request) => painter.paint(light, request) });
  const rig: Rig = rigOnWorld(world);
  const findings: StepFindings = { lightRate: {} };
  const notes: { event: string; fields: Readonly<Record<string, unknown>> | undefined }[] = [];
  const told: Parameters<Workbench["progress"]>[0][] = [];
  const bench: Workbench = {
    rig,
    front: newFront(),
    whyKeepCovered: async () => [],
    clock,
    random: new Random(spec.seed).fork("procedures"),
    log: silentLog,
    threads: new Threads(
      (why) => void notes.push({ event: "computing without a second thread", fields: { why } }),
    ),
    optics: spec.optics,
    site: spec.site,
    folder: mkdtempSync(join(tmpdir(), "evenfield-")),
    findings,
    abandoned: neverAborted,
    progress: (now) => void told.push(now),
    note: (event, fields) => void notes.push({ event, fields }),
  };
  const run = async <Request, Found>(
    step: Step<Request, Found>,
    request: Request,
    options: { rig?: Partial<Rig>; stop?: { afterSeconds: number; because: string } } = {},
  ): Promise<StepOutcome<Found>> => {
    const stop = new AbortController();
    if (options.stop) {
      const { afterSeconds, because } = options.stop;
      clock.setTimer(afterSeconds, () => stop.abort(new Error(because)));
    }
    return clock.drive(step({ bench: { ...bench, rig: { ...rig, ...options.rig } }, request }, stop.signal));
  };
  const removeFolder = () => rmSync(bench.folder, { recursive: true, force: true });
  return {
    spec,
    clock,
    painter,
    world,
    rig,
    bench,
    findings,
    notes,
    told,
    run,
    [Symbol.dispose]: removeFolder,
  };
}
