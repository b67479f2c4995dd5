import { expect, test } from "vitest";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import { Random } from "../../drivers/kit/random.ts";
import { encoded, onDevices } from "../sim-devices/alpaca/alpaca-client.ts";
import { describedMembers } from "./alpaca-members.ts";

/** What a careless client might send for a parameter, by its type in the description. */
const values: Readonly<Record<string, readonly (string | number)[]>> = {
  integer: [0, 1, 2, 5, 64, 300, -1, 2147483647, "", "1e3", "0x10", " 1", "NaN"],
  number: [0, 1, 0.5, -0.25, 12.5, 45, 359.9, 1e-5, "1e-05", "Infinity", "1,5", "", "--1"],
  boolean: ["True", "false", "TRUE", "1", "yes", ""],
  string: ["", "x", "RainRate", "2026-06-21T10:00:05Z", "2026-02-30T10:00:00Z", "<&>\"'", "ä%"],
};
const seed = 20260623;

test.each(Array.from({ length: 8 }, (_, i) => i))(
  `400 requests at random (seed ${seed}, draw %i): each answer is as described, none is a fault of the server`,
  (draw) => {
    const random = new Random(seed).fork(`chance ${draw}`);
    const members = describedMembers.filter(({ member }) => !["connected", "disconnect"].includes(member));
    const types = [...new Set(members.map(({ type }) => type))].filter((type) => !type.startsWith("{"));
    return onDevices(
      async ({ client, simulator, pass }) => {
        for (let i = 0; i < 400; i++) {
          const { verb, type, member, parameters } = random.pick(members);
          const at = type.startsWith("{") ? random.pick(types) : type;
          const given = Object.fromEntries(
            Object.entries(parameters).map(([name, kind]) => [name, random.pick(values[kind]!)]),
          );
          const asked = `${verb} ${at}/0/${member} ${JSON.stringify(given)}`;
          const { status } = await client.send(verb, `${at}/0/${member}`, encoded(given));
          expect([asked, [200, 400].includes(status)]).toEqual([asked, true]);
          if (random.uniform() < 0.3) await pass(random.between(0, 4));
        }
        // Whatever was asked, what must never happen to a rig is told by its account and not by a crash.
        expect(() => checkWorld(simulator.world)).not.toThrow();
        expect(Number.isFinite(simulator.world.mount.believed.decDegrees)).toBe(true);
      },
      { connect: types.map((type) => `${type}/0`) },
    );
  },
);
