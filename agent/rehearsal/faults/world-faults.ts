import { type RoleName, roles } from "../../../drivers/roles/roles.ts";
import type { Glide } from "../../../sim-devices/scene/mechanics/glide.ts";
import type { TrainSlip } from "../../../sim-devices/scene/painter-contract.ts";
import type { World } from "../../../sim-devices/scene/world.ts";
import { type Fault, holdSwitch } from "./fault.ts";
import { mountMotion } from "./mount-faults.ts";

/** Faults of the rig itself, seen by whoever looks at it through any protocol. */

export function filterMissing(): Fault {
  return {
    name: "filter missing",
    begin: ({ world }) =>
      holdSwitch(world, "filter missing", (on) => {
        world.filterFitted = !on;
      }),
  };
}

type GlideName = { [K in keyof World]: World[K] extends Glide ? K : never }[keyof World];

/** It stops where it is, or at that place when it comes by, and goes on claiming to move. */
export function stuck(part: GlideName, atPosition?: number): Fault {
  return {
    name: `${part} stuck`,
    ...(part in roles && { staysBusy: [part as RoleName] }),
    ...(part === "cover" && { blocks: ["cover"] }),
    begin: ({ world }) => world[part].jam(atPosition),
  };
}

/** By the names of the world's account. */
const liedAbout: Readonly<Partial<Record<GlideName | "camera", readonly string[]>>> = {
  camera: ["gain", "offset", "binning", "region", "frameType"].map((setting) => `camera.${setting}`),
  cover: ["cover.open", "cover.moving"],
  diffuser: ["diffuser.in", "diffuser.moving"],
  focuser: ["focuser.steps", "focuser.moving"],
  wheel: ["wheel.slot", "wheel.moving"],
  rotator: ["rotator.degrees", "rotator.moving"],
};

/** Its reports follow every command, and it does not move. */
export function lyingReadback(part: GlideName | "camera"): Fault {
  return {
    name: `${part} lies`,
    lies: liedAbout[part] ?? [],
    ...(part === "cover" && { blocks: ["cover"] }),
    begin: ({ world }) => {
      if (part === "camera") return holdSwitch(world, "camera lies", (on) => world.camera.pretend(on));
      return world[part].pretend();
    },
  };
}

/** Exposures that begin from now on stay Busy for ever; an abort still answers. */
export function cameraStuckBusy(): Fault {
  return {
    name: "camera stuck busy",
    begin: ({ world }) =>
      holdSwitch(world, "camera stuck busy", (on) => {
        world.camera.stuckBusy = on;
      }),
  };
}

/** The mount says that it tracks, and its motors stand still. */
export function mountNotTracking(): Fault {
  return {
    name: "mount not tracking",
    lies: mountMotion,
    begin: ({ world }) => holdSwitch(world, "mount not tracking", (on) => world.mount.stall(on)),
  };
}

/** Tracking is switched off at the mount, which says so. */
export function trackingOff(): Fault {
  return {
    name: "tracking off",
    begin: ({ world }) => {
      world.mount.setTracking(false);
      return () => world.mount.setTracking(true);
    },
  };
}

/** From now on the mount takes every command to track and stands still; as it stands or tracks now it goes on. */
export function refusesTracking(): Fault {
  return {
    name: "mount refuses to track",
    begin: ({ world }) =>
      holdSwitch(world, "mount refuses to track", (on) => {
        world.mount.refusesTracking = on;
      }),
  };
}

/** The next slew ends so far from where it should, and is reported as arrived, with the place as it is. */
export function slewEndsElsewhere(degrees: number): Fault {
  return {
    name: `slew ends ${degrees} degrees off`,
    begin: ({ world }) => {
      world.mount.slewShortDegrees = degrees;
      const end = () => {
        world.mount.slewShortDegrees = 0;
        stopListening();
      };
      const stopListening = world.listen(({ part, what }) => {
        if (part === "mount" && what === "slewEnded") end();
      });
      return end;
    },
  };
}

/** The mount has lost its count: it reports so many hours more of right ascension, and slews by them. */
export function reportJumps(hours: number): Fault {
  return {
    name: `mount reports ${hours} h more`,
    lies: mountMotion,
    begin: ({ world }) => {
      world.mount.shiftCount(-15 * hours);
      return () => world.mount.shiftCount(15 * hours);
    },
  };
}

/** A bank of cloud passes that fraction of the light. */
export function cloud(transmission: number): Fault {
  return {
    name: `cloud, ${(100 * transmission).toFixed(0)} % of the light`,
    begin: ({ world }) => {
      const fromMs = world.clock.nowMs();
      world.cloud.draw({ fromMs, untilMs: Number.POSITIVE_INFINITY, transmission });
      return () => world.cloud.draw({ fromMs, untilMs: world.clock.nowMs(), transmission });
    },
  };
}

/** Rain sets in and the sensor reads it. */
export function rain(millimetresAnHour: number): Fault {
  return {
    name: "rain",
    danger: { why: "rain", seenBy: "weather" },
    begin: ({ world }) =>
      holdSwitch(world, "rain", (on) =>
        world.weather.change(on ? { rain: millimetresAnHour, forecast: 2 } : { rain: 0, forecast: 0 }),
      ),
  };
}

/** A storm sets in and the sensor reads it. */
export function wind(metresPerSecond: number): Fault {
  return {
    name: "wind",
    danger: { why: "wind", seenBy: "weather" },
    begin: ({ world }) => {
      const { wind: before, windGust } = world.weather.actual;
      const storm = { wind: metresPerSecond, windGust: 1.5 * metresPerSecond };
      return holdSwitch(world, "wind", (on) => world.weather.change(on ? storm : { wind: before, windGust }));
    },
  };
}

/** The tube slips or turns against the camera: its dust, vignetting and reflections fall elsewhere on the sensor. */
export function tubeSlips(slip: TrainSlip): Fault {
  return {
    name: `tube slips by ${slip.xPx}, ${slip.yPx} px, ${slip.degrees} degrees`,
    begin: ({ world }) => {
      world.slip = slip;
      return () => {
        world.slip = undefined;
      };
    },
  };
}
