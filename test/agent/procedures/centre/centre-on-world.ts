import { centre } from "../../../../agent/procedures/centre/centre.ts";
import type { CentreFound, CentreRequest } from "../../../../agent/procedures/centre/centre-request.ts";
import type { StepFindings } from "../../../../agent/procedures/findings.ts";
import type { StepOutcome, Workbench } from "../../../../agent/procedures/step.ts";
import { newFront } from "../../../../agent/safing/front.ts";
import { Threads } from "../../../../agent/threads/threads.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";
import { neverAborted } from "../../../../drivers/kit/never-aborted.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import type { Rig } from "../../../../drivers/roles/rig.ts";
import { ScenePainter } from "../../../../sim-devices/scene/painter.ts";
import { drawScene } from "../../../../sim-devices/scene/spec/draw-scene.ts";
import type { SceneOverrides } from "../../../../sim-devices/scene/spec/override-scene.ts";
import { World } from "../../../../sim-devices/scene/world.ts";
import { rigOnWorld } from "./rig-on-world.ts";

export const usualRequest: CentreRequest = {
  toleranceFraction: 0.002,
  searchDegrees: 2,
  sunAltitudeDegreesMin: 10,
  brightnessTripFactor: 4,
  coverAfter: "open",
};

/** A world with a rig on it, and centring ready to be run on a virtual clock. */
export function centringOn(seed: number, overrides: SceneOverrides = {}) {
  const spec = drawScene(seed, {
    ...overrides,
    camera: { widthPx: 400, heightPx: 300, ...overrides.camera },
  });
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  const painter = new ScenePainter(spec);
  const world = new World({ spec, clock, paint: (light, request) => painter.paint(light, request) });
  const rig = rigOnWorld(world);
  const findings: StepFindings = { lightRate: {} };
  const notes: { event: string; fields: unknown }[] = [];
  const progress: string[] = [];
  const bench: Workbench = {
    rig,
    front: newFront(),
    whyKeepCovered: async () => [],
    clock,
    random: new Random(seed).fork("centre"),
    log: silentLog,
    threads: new Threads(() => {}),
    optics: spec.optics,
    site: spec.site,
    folder: "",
    findings,
    abandoned: neverAborted,
    progress: ({ what }) => void progress.push(what),
    note: (event, fields) => void notes.push({ event, fields }),
  };

  const run = async (
    options: {
      request?: Partial<CentreRequest>;
      rig?: Rig;
      stop?: { afterSeconds: number; because: string };
    } = {},
  ): Promise<StepOutcome<CentreFound>> => {
    const stop = new AbortController();
    if (options.stop) {
      const { afterSeconds, because } = options.stop;
      clock.setTimer(afterSeconds, () => stop.abort(new Error(because)));
    }
    const request = { ...usualRequest, ...options.request };
    return clock.drive(centre({ bench: { ...bench, rig: options.rig ?? rig }, request }, stop.signal));
  };

  /** Distance of the Sun from the optical axis by the world's own account, over the disc's diameter. */
  const trueOffsetFraction = () => {
    const { sunEastArcsec, sunNorthArcsec, sunSemidiameterArcsec } = world.lightPathNow();
    return Math.hypot(sunEastArcsec, sunNorthArcsec) / (2 * sunSemidiameterArcsec);
  };
  return { spec, clock, world, rig, bench, findings, notes, progress, run, trueOffsetFraction };
}
