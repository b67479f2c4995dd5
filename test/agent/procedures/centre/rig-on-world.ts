import type { Clock } from "../../../../drivers/kit/clock.ts";
import type { Camera } from "../../../../drivers/roles/camera.ts";
import type { Cover } from "../../../../drivers/roles/cover.ts";
import type { Setting } from "../../../../drivers/roles/device.ts";
import { noForeignCommands } from "../../../../drivers/roles/foreign-commands.ts";
import type { Equatorial, Mount, TrackRate } from "../../../../drivers/roles/mount.ts";
import type { Rig } from "../../../../drivers/roles/rig.ts";
import type { World } from "../../../../sim-devices/scene/world.ts";

/** Roles straight on a simulated world, with no protocol between: for procedures tested by themselves. */
export function rigOnWorld(world: World): Rig {
  return {
    camera: cameraOn(world),
    mount: mountOn(world),
    cover: leafOn(world, "cover"),
    diffuser: leafOn(world, "diffuser"),
  };
}

const nothingKept = {
  readSettings: async (): Promise<Setting[]> => [],
  restoreSetting: async () => {},
  sameSetting: () => true,
  roundTripSeconds: 0.01,
  foreignCommands: noForeignCommands,
  isAlive: async () => true,
  describe: () => ({}),
  [Symbol.asyncDispose]: async () => {},
};

function cameraOn(world: World): Camera {
  const { camera, spec } = world;
  const top = 65520;
  return {
    ...nothingKept,
    name: "camera",
    role: "camera",
    limits: {
      exposureSeconds: { min: spec.camera.exposureSecondsMin, max: spec.camera.exposureSecondsMax },
      gain: { min: 0, max: spec.camera.gainMax },
      offset: { min: 0, max: spec.camera.offsetMax },
      binning: { min: 1, max: spec.camera.binningMax },
      sensorPx: { widthPx: spec.camera.widthPx, heightPx: spec.camera.heightPx },
      pixelMicron: spec.camera.pixelMicron,
      fullScaleAdu: top,
    },
    setup: async () => {
      const { gain, offset, binning, region } = camera.settings;
      return { gain, offset, binning, region };
    },
    configure: async (setup) => {
      if (setup.gain !== undefined) camera.settings.gain = setup.gain;
      const { gain, offset, binning, region } = camera.settings;
      return { gain, offset, binning, region };
    },
    giveBack: ({ buffer }) => {
      (buffer as ArrayBuffer).transfer();
    },
    expose: ({ exposureSeconds, frameType }, signal) =>
      new Promise((resolve, reject) => {
        signal.throwIfAborted();
        const onAbort = () => {
          camera.abort();
          reject(signal.reason);
        };
        signal.addEventListener("abort", onAbort, { once: true });
        camera.settings.frameType = frameType;
        camera.expose(exposureSeconds, (frame) => {
          signal.removeEventListener("abort", onAbort);
          resolve({ ...frame, exposureSeconds, frameType });
        });
      }),
    ensureStopped: async () => camera.abort(),
    sendStop: async () => camera.abort(),
  };
}

function leafOn(world: World, role: "cover" | "diffuser"): Cover {
  const { clock } = world;
  const leaf = world[role];
  const [closed, open] = role === "cover" ? ([0, 1] as const) : ([1, 0] as const);
  const to = async (place: 0 | 1) => {
    if (leaf.reported === place && !leaf.moving) return;
    leaf.moveTo(place);
    await until(clock, () => !leaf.moving, undefined);
  };
  return {
    ...nothingKept,
    name: role,
    role,
    state: async () =>
      leaf.moving
        ? "moving"
        : leaf.reported === closed
          ? "closed"
          : leaf.reported === open
            ? "open"
            : "unknown",
    ensureClosed: () => to(closed),
    ensureOpen: () => to(open),
    sendClose: async () => {
      if (leaf.reported !== closed || leaf.moving) leaf.moveTo(closed);
    },
  };
}

function mountOn({ mount, clock }: World): Mount {
  const jogDegreesPerSecond = 32 / 3600;
  const jog = async (axis: "east" | "north", arcsec: number, signal: AbortSignal) => {
    const degrees = arcsec / 3600;
    mount.jog(axis, Math.sign(degrees) * jogDegreesPerSecond);
    try {
      await clock.sleep(Math.abs(degrees) / jogDegreesPerSecond, signal);
    } finally {
      mount.jog(axis, 0);
    }
  };
  return {
    ...nothingKept,
    name: "mount",
    role: "mount",
    abilities: { park: true, sync: true, solarRate: true, nudge: "motion" },
    state: async () => ({
      pointing: mount.believed,
      motion: mount.phase,
      tracking: mount.tracking,
      trackRate: mount.rate,
      parked: mount.parked,
    }),
    pierSide: async () => "east", // a fork: always the same
    siteAndTime: async () => ({ site: undefined, utcMs: undefined, siderealHours: undefined }),
    ensureUnparked: async () => mount.unpark(),
    ensureParked: async () => {
      mount.park();
      await until(clock, () => mount.parked, undefined);
    },
    ensureTracking: async (rate: TrackRate) => mount.setTracking(true, rate),
    ensureTrackingOff: async () => mount.setTracking(false),
    slewTo: async (target: Equatorial, signal) => {
      const refusal = mount.slewTo(target, true);
      if (refusal) throw new Error(refusal);
      await until(clock, () => mount.phase === "still", signal);
    },
    syncTo: async (actual: Equatorial) => mount.syncTo(actual),
    nudge: async ({ eastArcsec, northArcsec }, signal) => {
      const cosDec = Math.cos((mount.believed.decDegrees * Math.PI) / 180);
      await jog("east", eastArcsec / cosDec, signal);
      await jog("north", northArcsec, signal);
    },
    ensureStopped: async () => mount.stop(),
    sendStop: async () => mount.stop(),
    sendTrackingOff: async () => mount.setTracking(false),
  };
}

async function until(clock: Clock, done: () => boolean, signal: AbortSignal | undefined): Promise<void> {
  while (!done()) await clock.sleep(0.2, signal);
}
