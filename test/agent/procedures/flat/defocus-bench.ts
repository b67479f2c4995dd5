import type { Focuser } from "../../../../drivers/roles/focuser.ts";
import { noForeignCommands } from "../../../../drivers/roles/foreign-commands.ts";
import type { SceneOverrides } from "../../../../sim-devices/scene/spec/override-scene.ts";
import { driftBench } from "./drift-bench.ts";

/** A disc of about 480 px radius in a frame of 256 x 192 px at f/6.7, so that travel of a focuser blurs most of the frame. */
export function defocusBench(seed: number, overrides: SceneOverrides = {}) {
  const bench = driftBench(seed, {
    ...overrides,
    optics: { apertureMm: 75, ...overrides.optics },
    focuser: { bestSteps: 6000, micronPerStep: 2, backlashSteps: 12, ...overrides.focuser },
    startsWith: { focusSteps: 6000, ...overrides.startsWith },
  });
  return Object.assign(bench, { focuser: focuserOf(bench) });
}

function focuserOf({ world, spec, clock }: ReturnType<typeof driftBench>): Focuser {
  const { stepsMin, stepsMax } = spec.focuser;
  return {
    name: "focuser",
    role: "focuser",
    limits: { positionSteps: { min: stepsMin, max: stepsMax } },
    positionSteps: async () => Math.round(world.focuser.reported),
    moveTo: async (steps, signal) => {
      world.focuser.moveTo(steps);
      const givenUpMs = clock.nowMs() + 60_000;
      while (world.focuser.moving) {
        if (clock.nowMs() > givenUpMs) throw new Error(`the focuser did not arrive at ${steps} steps`);
        await clock.sleep(0.2, signal);
      }
    },
    ensureStopped: async () => world.focuser.stop(),
    readSettings: async () => [],
    restoreSetting: async () => {},
    sameSetting: () => true,
    roundTripSeconds: 0.01,
    foreignCommands: noForeignCommands,
    isAlive: async () => true,
    describe: () => ({}),
    [Symbol.asyncDispose]: async () => {},
  };
}
