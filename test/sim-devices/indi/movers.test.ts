import { expect, test } from "vitest";
import { numberIn, outline, session } from "../sim-session.ts";

test("the focuser reports its way and its end; out of range is an Alert with the reason", async () => {
  await session(
    async ({ client, pass, simulator }) => {
      const start = simulator.world.focuser.position;
      await client.numbers("Scene Focuser", "ABS_FOCUS_POSITION", { FOCUS_ABSOLUTE_POSITION: start + 600 });
      await pass(60);
      const heard = client.take();
      expect(outline(heard, /^ABS/)).toEqual(["set ABS_FOCUS_POSITION Busy", "set ABS_FOCUS_POSITION Ok"]);
      expect(numberIn(heard.at(-1), "FOCUS_ABSOLUTE_POSITION")).toBe(start + 600);
      await client.switchOn("Scene Focuser", "FOCUS_MOTION", "FOCUS_INWARD");
      await client.numbers("Scene Focuser", "REL_FOCUS_POSITION", { FOCUS_RELATIVE_POSITION: 600 });
      await pass(60);
      expect(simulator.world.focuser.position).toBe(start);
      client.take();
      await client.numbers("Scene Focuser", "ABS_FOCUS_POSITION", { FOCUS_ABSOLUTE_POSITION: 1e9 });
      await pass(1);
      const refused = client.take();
      expect(refused[0]?.attributes.state).toBe("Alert");
      expect(refused[0]?.attributes.message).toMatch(/Valid range/);
    },
    { connect: ["Scene Focuser"] },
  );
});

test("the wheel says Busy with the old slot and Ok with the new one", async () => {
  await session(
    async ({ client, pass }) => {
      await client.numbers("Scene Wheel", "FILTER_SLOT", { FILTER_SLOT_VALUE: 2 });
      await pass(5);
      const heard = client.take();
      expect(heard.map((e) => [e.attributes.state, numberIn(e, "FILTER_SLOT_VALUE")])).toEqual([
        ["Busy", 1],
        ["Ok", 2],
      ]);
      await client.numbers("Scene Wheel", "FILTER_SLOT", { FILTER_SLOT_VALUE: 99 });
      await pass(1);
      expect(outline(client.take())).toEqual(["set FILTER_SLOT Alert"]);
    },
    { connect: ["Scene Wheel"] },
  );
});

test("the rotator turns, stops on abort where it is, and takes a sync", async () => {
  await session(
    async ({ client, pass, simulator }) => {
      await client.numbers("Scene Rotator", "ABS_ROTATOR_ANGLE", { ANGLE: 90 });
      await pass(3);
      await client.switchOn("Scene Rotator", "ROTATOR_ABORT_MOTION", "ABORT");
      await pass(1);
      expect(simulator.world.rotator.position).toBeCloseTo(30, 6);
      expect(
        numberIn(
          client
            .take()
            .filter((e) => e.attributes.name === "ABS_ROTATOR_ANGLE")
            .at(-1),
          "ANGLE",
        ),
      ).toBeCloseTo(30, 6);
      await client.numbers("Scene Rotator", "SYNC_ROTATOR_ANGLE", { ANGLE: 100 });
      await pass(1);
      expect(numberIn(client.take().at(-1), "ANGLE")).toBeCloseTo(100, 6);
      expect(simulator.world.rotator.position).toBeCloseTo(30, 6);
    },
    { connect: ["Scene Rotator"] },
  );
});

test("the dome parks with its shutter closed and refuses moves until unparked", async () => {
  await session(
    async ({ client, pass, simulator }) => {
      await client.switchOn("Scene Dome", "DOME_PARK", "PARK");
      await pass(60);
      expect(outline(client.take(), /^DOME_(PARK|SHUTTER)$/)).toEqual([
        "set DOME_PARK Busy PARK",
        "set DOME_SHUTTER Busy SHUTTER_CLOSE",
        "set DOME_SHUTTER Ok SHUTTER_CLOSE",
        "set DOME_PARK Ok PARK",
      ]);
      expect(simulator.world.dome).toMatchObject({ parked: true });
      await client.switchOn("Scene Dome", "DOME_SHUTTER", "SHUTTER_OPEN");
      await pass(1);
      expect(outline(client.take())).toEqual(["set DOME_SHUTTER Alert SHUTTER_CLOSE"]);
      await client.switchOn("Scene Dome", "DOME_PARK", "UNPARK");
      await pass(60);
      expect(outline(client.take(), /^DOME_PARK$/)).toEqual([
        "set DOME_PARK Busy UNPARK",
        "set DOME_PARK Ok UNPARK",
      ]);
      expect(simulator.world.dome.shutter.position).toBe(1);
    },
    { connect: ["Scene Dome"] },
  );
});

test("a dome's driver ends while it turns: the next one is not busy with what it was never told", async () => {
  await session(
    async ({ client, pass, simulator }) => {
      await client.numbers("Scene Dome", "ABS_DOME_POSITION", { DOME_ABSOLUTE_POSITION: 200 });
      await pass(1);
      simulator.indiServer.killDriver("Scene Dome");
      await pass(120);
      await client.switchOn("Scene Dome", "CONNECTION", "CONNECT");
      await pass(1);
      client.take();
      await client.say('<getProperties version="1.7" device="Scene Dome"/>');
      await pass(1);
      const states = client.take().map(({ attributes }) => attributes.state);
      expect(states.length).toBeGreaterThan(5);
      expect(states).not.toContain("Busy");
    },
    { connect: ["Scene Dome"] },
  );
});

test("a mount's driver ends while it parks: the next one takes it for unparked until it has been parked", async () => {
  await session(
    async ({ client, pass, simulator }) => {
      await client.switchOn("Scene Mount", "TELESCOPE_PARK", "PARK");
      await pass(1);
      simulator.indiServer.killDriver("Scene Mount");
      await pass(1);
      await client.switchOn("Scene Mount", "CONNECTION", "CONNECT");
      await pass(1);
      client.take();
      await client.say('<getProperties version="1.7" device="Scene Mount" name="TELESCOPE_PARK"/>');
      await pass(0.1);
      const park = /^TELESCOPE_PARK$/;
      expect(outline(client.take(), park)).toEqual(["def TELESCOPE_PARK Idle UNPARK"]);
      await pass(120);
      expect(outline(client.take(), park)).toEqual(["set TELESCOPE_PARK Ok PARK"]);
    },
    {
      connect: ["Scene Mount"],
      overrides: { mount: { startsParked: false } },
    },
  );
});

test("the weather turns from ok to warning to danger; an override hides it in the vector's state only", async () => {
  await session(
    async ({ client, pass, simulator }) => {
      const status = async () => {
        await client.switchOn("Scene Weather", "WEATHER_REFRESH", "REFRESH");
        await pass(0.1);
        const set = client.take().find((e) => e.attributes.name === "WEATHER_STATUS");
        const wind = set?.children.find((c) => c.attributes.name === "WEATHER_WIND_SPEED")?.text.trim();
        return [set?.attributes.state, wind];
      };
      expect(await status()).toEqual(["Ok", "Ok"]);
      expect(await status()).toEqual([undefined, undefined]); // sent on a change only
      simulator.world.weather.change({ wind: 9 });
      expect(await status()).toEqual(["Busy", "Busy"]);
      simulator.world.weather.change({ wind: 14 });
      expect(await status()).toEqual(["Alert", "Alert"]);
      await client.switchOn("Scene Weather", "WEATHER_OVERRIDE", "OVERRIDE");
      await pass(0.1);
      const hidden = client.take().find((e) => e.attributes.name === "WEATHER_STATUS");
      expect([hidden?.attributes.state, hidden?.children[2]?.text.trim()]).toEqual(["Ok", "Alert"]);
      await pass(61);
      expect(client.take().some((e) => e.attributes.name === "WEATHER_PARAMETERS")).toBe(true);
    },
    { connect: ["Scene Weather"] },
  );
});

test("a cover stopped half way shows no position at all", async () => {
  await session(
    async ({ client, pass }) => {
      await client.switchOn("Scene Cover", "CAP_PARK", "UNPARK");
      await pass(2);
      await client.switchOn("Scene Cover", "CAP_ABORT", "ABORT");
      await pass(10);
      expect(outline(client.take(), /^CAP_PARK$/)).toEqual([
        "set CAP_PARK Busy UNPARK",
        "set CAP_PARK Alert",
      ]);
    },
    { connect: ["Scene Cover"] },
  );
});

test("a cover that another client opens is Busy to everybody from its beginning on", async () => {
  await session(
    async ({ client, pass, simulator }) => {
      simulator.world.cover.moveTo(1);
      await pass(1);
      expect(outline(client.take(), /^CAP_PARK$/)).toEqual(["set CAP_PARK Busy PARK"]);
      await pass(10);
      expect(outline(client.take(), /^CAP_PARK$/)).toEqual(["set CAP_PARK Ok UNPARK"]);
    },
    { connect: ["Scene Cover"] },
  );
});
