import { expect, test } from "vitest";
import { type AlpacaClient, onDevices } from "./alpaca-client.ts";

const errorOf = async (client: AlpacaClient, path: string, given = {}) =>
  (await client.get(path, given)).error;

test.each([
  ["covercalibrator/0", "cover", 0],
  ["covercalibrator/1", "diffuser", 1],
] as const)("%s moves the %s: moving until it is there, and no light in it", (path, part, closedAt) =>
  onDevices(
    async ({ client, simulator, pass }) => {
      const leaf = simulator.world[part];
      await client.put(`${path}/closecover`);
      await pass(10);
      expect(await client.value(`${path}/coverstate`)).toBe(1);
      expect(leaf.position).toBe(closedAt);
      expect(await client.outcome(`${path}/opencover`)).toBe(0);
      expect(await client.value(`${path}/coverstate`)).toBe(2);
      expect(await client.value(`${path}/covermoving`)).toBe(true);
      expect(await client.outcome(`${path}/opencover`)).toBe(0);
      expect(await client.outcome(`${path}/closecover`)).toBe(0x40b);
      await pass(10);
      expect(await client.value(`${path}/coverstate`)).toBe(3);
      expect(leaf.position).toBe(1 - closedAt);
      await client.put(`${path}/closecover`);
      await pass(1);
      expect(await client.outcome(`${path}/haltcover`)).toBe(0);
      expect(await client.value(`${path}/coverstate`)).toBe(4); // half way is nowhere
      expect(await client.value(`${path}/covermoving`)).toBe(false);
      expect(await client.value(`${path}/calibratorstate`)).toBe(0);
      expect(await client.value(`${path}/calibratorchanging`)).toBe(false);
      for (const member of ["brightness", "maxbrightness"])
        expect([member, await errorOf(client, `${path}/${member}`)]).toEqual([member, 0x400]);
      expect(await client.outcome(`${path}/calibratoron`, { Brightness: 1 })).toBe(0x400);
    },
    { connect: [path] },
  ),
);

test("a cover that sticks goes on moving for ever", () =>
  onDevices(
    async ({ client, simulator, pass }) => {
      simulator.world.cover.jam(0.5);
      await client.put("covercalibrator/0/opencover");
      await pass(100);
      expect(await client.value("covercalibrator/0/coverstate")).toBe(2);
    },
    { connect: ["covercalibrator/0"] },
  ));

test("the focuser: moving until it is there; beyond its ends it stops at the end without an error", () =>
  onDevices(
    async ({ client, simulator, pass }) => {
      const max = (await client.value("focuser/0/maxstep")) as number;
      expect(await client.value("focuser/0/absolute")).toBe(true);
      expect(await client.outcome("focuser/0/move", { Position: max + 500 })).toBe(0);
      expect(await client.value("focuser/0/ismoving")).toBe(true);
      await pass(60);
      expect(await client.value("focuser/0/ismoving")).toBe(false);
      expect(await client.value("focuser/0/position")).toBe(max);
      await client.put("focuser/0/move", { Position: -20 });
      await pass(1);
      await client.put("focuser/0/halt");
      expect(await client.value("focuser/0/position")).toBe(
        max - simulator.world.spec.focuser.stepsPerSecond,
      );
      expect(await client.value("focuser/0/tempcompavailable")).toBe(false);
      expect(await client.outcome("focuser/0/tempcomp", { TempComp: true })).toBe(0x400);
    },
    { connect: ["focuser/0"] },
  ));

test("the wheel: -1 while it turns, slots from 0", () =>
  onDevices(
    async ({ client, simulator, pass }) => {
      const names = (await client.value("filterwheel/0/names")) as string[];
      expect(await client.value("filterwheel/0/focusoffsets")).toEqual(names.map(() => 0));
      expect(await client.value("filterwheel/0/position")).toBe(0);
      expect(await client.outcome("filterwheel/0/position", { Position: 2 })).toBe(0);
      expect(await client.value("filterwheel/0/position")).toBe(-1);
      await pass(3);
      expect(await client.value("filterwheel/0/position")).toBe(2);
      expect(simulator.world.wheel.position).toBe(3);
      for (const Position of [-1, names.length])
        expect(await client.outcome("filterwheel/0/position", { Position })).toBe(0x401);
    },
    { connect: ["filterwheel/0"] },
  ));

test("the rotator: sky, mechanical and relative angles, a sync between them, and the way round reversed", () =>
  onDevices(
    async ({ client, simulator, pass }) => {
      const at = async (member = "position") => (await client.value(`rotator/0/${member}`)) as number;
      expect(await client.outcome("rotator/0/moveabsolute", { Position: 40 })).toBe(0);
      expect(await client.value("rotator/0/ismoving")).toBe(true);
      expect(await at("targetposition")).toBe(40);
      await pass(10);
      expect([await at(), await at("mechanicalposition")]).toEqual([40, 40]);
      expect(await client.outcome("rotator/0/sync", { Position: 350 })).toBe(0);
      expect([await at(), await at("mechanicalposition")]).toEqual([350, 40]);
      await client.put("rotator/0/move", { Position: 20 });
      await pass(10);
      expect([await at(), await at("mechanicalposition")]).toEqual([10, 60]);
      await client.put("rotator/0/movemechanical", { Position: 30 });
      await pass(10);
      expect([await at(), simulator.world.rotator.position]).toEqual([340, 30]);
      await client.put("rotator/0/reverse", { Reverse: true });
      expect(await at("mechanicalposition")).toBe(330);
      await client.put("rotator/0/movemechanical", { Position: 300 });
      await pass(10);
      expect(simulator.world.rotator.position).toBe(60);
      for (const Position of [-405, 405, 360])
        expect(await client.outcome("rotator/0/moveabsolute", { Position })).toBe(0x401);
      await client.put("rotator/0/movemechanical", { Position: 0 });
      await pass(1);
      expect(await client.outcome("rotator/0/halt")).toBe(0);
      expect(await client.value("rotator/0/ismoving")).toBe(false);
    },
    { connect: ["rotator/0"] },
  ));

test("the dome: shutter and turning show at once, parking is turning, the next turn ends it", () =>
  onDevices(
    async ({ client, simulator, pass }) => {
      const { dome } = simulator.world;
      expect(await client.value("dome/0/shutterstatus")).toBe(0);
      expect(await client.outcome("dome/0/closeshutter")).toBe(0);
      expect(await client.value("dome/0/shutterstatus")).toBe(3);
      expect(await client.value("dome/0/slewing")).toBe(true);
      await pass(10);
      expect(await client.value("dome/0/shutterstatus")).toBe(1);
      await client.put("dome/0/openshutter");
      expect(await client.value("dome/0/shutterstatus")).toBe(2);
      await pass(1);
      await client.put("dome/0/abortslew");
      expect(await client.value("dome/0/shutterstatus")).toBe(4);
      expect(await client.outcome("dome/0/slewtoazimuth", { Azimuth: 30 })).toBe(0);
      expect(await client.value("dome/0/slewing")).toBe(true);
      await pass(20);
      expect(await client.value("dome/0/azimuth")).toBeCloseTo(30, 6);
      for (const Azimuth of [-10, 360])
        expect(await client.outcome("dome/0/slewtoazimuth", { Azimuth })).toBe(0x401);
      await client.put("dome/0/park");
      expect(await client.value("dome/0/atpark")).toBe(false);
      await pass(20);
      expect(await client.value("dome/0/atpark")).toBe(true);
      expect(await client.value("dome/0/azimuth")).toBeCloseTo(dome.spec.parkAzimuthDegrees, 6);
      await client.put("dome/0/slewtoazimuth", { Azimuth: 100 });
      expect(await client.value("dome/0/atpark")).toBe(false);
      expect(await client.outcome("dome/0/slewtoaltitude", { Altitude: 10 })).toBe(0x400);
      expect(await client.outcome("dome/0/findhome")).toBe(0x400);
      expect(await client.outcome("dome/0/slaved", { Slaved: true })).toBe(0x400);
    },
    { connect: ["dome/0"] },
  ));

test("before Platform 7 the shutter's motion was no slewing", () =>
  onDevices(
    async ({ client }) => {
      await client.put("dome/0/closeshutter");
      expect(await client.value("dome/0/shutterstatus")).toBe(3);
      expect(await client.value("dome/0/slewing")).toBe(false);
    },
    { connect: ["dome/0"], alpaca: { platform: 6 } },
  ));

test("rain: the monitor says unsafe at once, the station says how much", () =>
  onDevices(
    async ({ client, simulator, pass }) => {
      const { weather } = simulator.world;
      expect(await client.value("safetymonitor/0/issafe")).toBe(true);
      weather.change({ rain: 3 });
      expect(await client.value("safetymonitor/0/issafe")).toBe(false);
      expect(await client.value("observingconditions/0/rainrate")).toBe(3);
      expect(await client.value("observingconditions/0/timesincelastupdate", { SensorName: "" })).toBe(0);
      weather.freeze(true);
      weather.change({ rain: 0 });
      await pass(400);
      expect(await client.value("observingconditions/0/rainrate")).toBe(3);
      expect(
        await client.value("observingconditions/0/timesincelastupdate", { SensorName: "RainRate" }),
      ).toBe(400);
    },
    { connect: ["safetymonitor/0", "observingconditions/0"] },
  ));

test("sensors: value, description and age go together; the dew point fits the humidity", () =>
  onDevices(
    async ({ client, simulator }) => {
      const path = (member: string) => `observingconditions/0/${member}`;
      for (const SensorName of ["Humidity", "WindSpeed", "DewPoint", "CloudCover", "StarFWHM"]) {
        const answers = [
          await errorOf(client, path(SensorName.toLowerCase())),
          await errorOf(client, path("sensordescription"), { SensorName }),
          await errorOf(client, path("timesincelastupdate"), { SensorName }),
        ];
        const error = ["CloudCover", "StarFWHM"].includes(SensorName) ? 0x400 : 0;
        expect([SensorName, answers]).toEqual([SensorName, [error, error, error]]);
      }
      expect(await errorOf(client, path("sensordescription"), { SensorName: "Mood" })).toBe(0x401);
      simulator.world.weather.change({ humidityPercent: 100, temperatureCelsius: 12 });
      expect(await client.value(path("dewpoint"))).toBeCloseTo(12, 6);
      simulator.world.weather.change({ humidityPercent: 50, temperatureCelsius: 20 });
      expect(await client.value(path("dewpoint"))).toBeCloseTo(9.26, 1); // from any psychrometric table
      expect(await client.outcome(path("averageperiod"), { AveragePeriod: 0 })).toBe(0);
      expect(await client.outcome(path("averageperiod"), { AveragePeriod: -2 })).toBe(0x401);
    },
    { connect: ["observingconditions/0"] },
  ));

test("a switch moves the diffuser: at once with its end told, or with the answer at its end", () =>
  onDevices(
    async ({ client, simulator, clock, pass }) => {
      const { diffuser } = simulator.world;
      const id = { Id: 0 };
      expect(await client.outcome("switch/0/setasync", { ...id, State: true })).toBe(0);
      expect(await client.value("switch/0/statechangecomplete", id)).toBe(false);
      await pass(6);
      expect(await client.value("switch/0/statechangecomplete", id)).toBe(true);
      expect(await client.value("switch/0/getswitch", id)).toBe(true);
      expect(diffuser.position).toBe(1);
      const startMs = clock.nowMs();
      expect(await client.outcome("switch/0/setswitchvalue", { ...id, Value: 0.2 })).toBe(0);
      expect((clock.nowMs() - startMs) / 1000).toBeCloseTo(simulator.world.mechanics.diffuserSeconds, 3);
      expect(diffuser.position).toBe(0);
      await client.put("switch/0/setasyncvalue", { ...id, Value: 1 });
      await pass(1);
      expect(await client.outcome("switch/0/cancelasync", id)).toBe(0);
      expect(await errorOf(client, "switch/0/statechangecomplete", id)).toBe(0x40e);
      expect(await client.value("switch/0/statechangecomplete", id)).toBe(true);
      for (const Value of [-0.1, 1.1])
        expect(await client.outcome("switch/0/setswitchvalue", { ...id, Value })).toBe(0x401);
    },
    { connect: ["switch/0"] },
  ));

test("a switch that can only be read refuses every write, and there is none outside the list", () =>
  onDevices(
    async ({ client }) => {
      expect(await client.value("switch/0/maxswitch")).toBe(2);
      expect(await client.value("switch/0/canwrite", { Id: 1 })).toBe(false);
      expect(await client.value("switch/0/canasync", { Id: 1 })).toBe(false);
      for (const [member, given] of [
        ["setswitch", { State: true }],
        ["setswitchvalue", { Value: 1 }],
        ["setasync", { State: true }],
        ["setasyncvalue", { Value: 1 }],
        ["setswitchname", { Name: "x" }],
      ] as const) {
        expect([member, await client.outcome(`switch/0/${member}`, { Id: 1, ...given })]).toEqual([
          member,
          0x400,
        ]);
        expect([member, await client.outcome(`switch/0/${member}`, { Id: 2, ...given })]).toEqual([
          member,
          0x401,
        ]);
        expect([member, await client.outcome(`switch/0/${member}`, { Id: -1, ...given })]).toEqual([
          member,
          0x401,
        ]);
      }
      for (const member of ["getswitch", "getswitchname", "minswitchvalue", "switchstep", "canwrite"])
        expect([member, await errorOf(client, `switch/0/${member}`, { Id: 2 })]).toEqual([member, 0x401]);
    },
    { connect: ["switch/0"] },
  ));
