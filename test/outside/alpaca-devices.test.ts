import { expect, test } from "vitest";
import type { SceneDeviceOptions } from "../../sim-devices/scene-devices.ts";
import { type AlpacaClient, encoded, type Given, onDevices } from "../sim-devices/alpaca/alpaca-client.ts";
import { openStage } from "../stage/stage.ts";
import { replyProblems, requestProblems } from "./alpaca-description.ts";
import { type DescribedMember, describedMembers } from "./alpaca-members.ts";

/** The simulated devices held against the published description: every member, in every state that they can be in. */

const types = [
  "camera",
  "covercalibrator",
  "dome",
  "filterwheel",
  "focuser",
  "observingconditions",
  "rotator",
  "safetymonitor",
  "switch",
  "telescope",
];

/** Members of every device, spelt out for each type; and the one that the description forgot. */
const members: readonly DescribedMember[] = [
  ...describedMembers.flatMap((one) =>
    one.type === "{device_type}" ? types.map((type) => ({ ...one, type })) : [one],
  ),
  { verb: "PUT", type: "switch", member: "cancelasync", parameters: { Id: "integer" } },
];

/** One value that each parameter may have, whatever the member. */
const good: Given = {
  Action: "Dance",
  Parameters: "",
  Command: "x",
  Raw: false,
  SensorName: "Temperature",
  UTCDate: "2026-06-21T10:00:01.25Z",
  Name: "lamp",
};
const ofType: Given = { string: "x", integer: 1, number: 1, boolean: true };
const givenFor = (parameters: DescribedMember["parameters"]): Given =>
  Object.fromEntries(
    Object.entries(parameters).map(([name, type]) => [name, name in good ? good[name]! : ofType[type]!]),
  );

const pathOf = ({ type, member }: DescribedMember) => `${type}/0/${member}`;

/** Members that would change what the others answer come last. */
const inOrder = members.toSorted((a, b) => rank(a) - rank(b));
function rank({ verb, member }: DescribedMember): number {
  if (member === "connected" || member === "disconnect") return 3;
  return verb === "GET" ? 0 : member === "park" ? 2 : 1;
}

async function askAll(client: AlpacaClient): Promise<Map<string, number>> {
  const outcomes = new Map<string, number>();
  for (const one of inOrder) {
    if (one.member === "connected" && one.verb === "PUT") continue;
    const given = givenFor(one.parameters);
    const told = await (one.verb === "GET" ? client.get(pathOf(one), given) : client.put(pathOf(one), given));
    outcomes.set(`${one.verb} ${pathOf(one)}`, told.status === 200 ? told.error! : told.status);
  }
  return outcomes;
}

const variants: readonly (readonly [string, SceneDeviceOptions])[] = [
  ["Platform 7", {}],
  ["Platform 7, gain by index", { gainBy: "index" }],
];

test.each(variants)("%s: every member exists, and every answer is as described, in any state", (_, alpaca) =>
  onDevices(
    async ({ client, pass }) => {
      const disconnected = await askAll(client);
      expect([...disconnected.values()].filter((outcome) => outcome >= 400 && outcome < 600)).toEqual([]);
      await pass(1);
      for (const type of types)
        expect(await client.outcome(`${type}/0/connected`, { Connected: true })).toBe(0);
      const connected = await askAll(client);
      // 0, or one of the standard's own errors.
      const allowed = new Set([0, 0x400, 0x401, 0x402, 0x408, 0x40b]);
      expect([...connected].filter(([, outcome]) => !allowed.has(outcome))).toEqual([]);
      await pass(0.05); // things move
      for (const type of types) await client.put(`${type}/0/connected`, { Connected: true });
      await askAll(client);
      await pass(120); // and have come to rest; there is an image
      for (const type of types) await client.put(`${type}/0/connected`, { Connected: true });
      expect(await client.outcome("camera/0/startexposure", { Duration: 0.1, Light: true })).toBe(0);
      await pass(5);
      await askAll(client);
      for (const path of [
        "/management/apiversions",
        "/management/v1/description",
        "/management/v1/configureddevices",
      ])
        expect((await client.get(path)).status).toBe(200);
    },
    { alpaca },
  ),
);

test("interfaces before Platform 7: what came later does not exist, everything else does", () =>
  onDevices(
    async ({ client }) => {
      for (const type of types) await client.put(`${type}/0/connected`, { Connected: true });
      const outcomes = await askAll(client);
      const missing = [...outcomes]
        .filter(([, outcome]) => outcome === 400)
        .map(([path]) => path.split("/").at(-1));
      expect(new Set(missing)).toEqual(
        new Set([
          "connect",
          "disconnect",
          "connecting",
          "devicestate",
          "covermoving",
          "calibratorchanging",
          "canasync",
          "setasync",
          "setasyncvalue",
          "statechangecomplete",
          "cancelasync",
        ]),
      );
    },
    { alpaca: { platform: 6 } },
  ));

test("a parameter of a write that is missing, mis-cased or of the wrong type: HTTP 400, and nothing happens", () =>
  onDevices(
    async ({ client, simulator }) => {
      const before = JSON.stringify(simulator.world.account());
      let checked = 0;
      for (const one of members) {
        if (one.verb !== "PUT") continue;
        const given = givenFor(one.parameters);
        for (const [name, type] of Object.entries(one.parameters)) {
          const { [name]: value, ...others } = given;
          const wrong =
            type === "string"
              ? []
              : [
                  { ...others, [name]: "ten" },
                  { ...others, [name]: "" },
                ];
          if (type === "number" || type === "integer") wrong.push({ ...others, [name]: "1,5" });
          if (type === "integer") wrong.push({ ...others, [name]: "1.5" });
          if (type === "boolean") wrong.push({ ...others, [name]: 1 });
          for (const parameters of [others, { ...others, [name.toLowerCase()]: value! }, ...wrong]) {
            expect([pathOf(one), parameters, await client.outcome(pathOf(one), parameters)]).toEqual([
              pathOf(one),
              parameters,
              400,
            ]);
            checked++;
          }
        }
      }
      expect(checked).toBeGreaterThan(300);
      expect(JSON.stringify(simulator.world.account())).toBe(before);
    },
    { connect: types.map((type) => `${type}/0`) },
  ));

test("a parameter of a read: any casing will do, missing or unreadable is HTTP 400", () =>
  onDevices(
    async ({ client }) => {
      for (const one of members) {
        if (one.verb !== "GET" || Object.keys(one.parameters).length === 0) continue;
        const given = givenFor(one.parameters);
        const shouted = Object.fromEntries(
          Object.entries(given).map(([name, value]) => [name.toUpperCase(), value]),
        );
        expect([pathOf(one), (await client.get(pathOf(one), shouted)).error]).toEqual([pathOf(one), 0]);
        expect([pathOf(one), (await client.get(pathOf(one))).status]).toEqual([pathOf(one), 400]);
      }
    },
    { connect: types.map((type) => `${type}/0`) },
  ));

test("whatever is no member: 400 or its like, never a success", () =>
  onDevices(async ({ client }) => {
    for (const [method, path] of [
      ["GET", "/api/v1/camera/0/grain"],
      ["GET", "/api/v1/camera/0/Gain"],
      ["GET", "/api/v1/Camera/0/gain"],
      ["GET", "/API/v1/camera/0/gain"],
      ["GET", "/api/v2/camera/0/gain"],
      ["GET", "/api/v1/camera/1/gain"],
      ["GET", "/api/v1/camera/-1/gain"],
      ["GET", "/api/v1/camera/A/gain"],
      ["GET", "/api/v1/camera/99999/gain"],
      ["GET", "/api/v1/video/0/name"],
      ["GET", "/api/v1/camera/0/gain/"],
      ["GET", "/api/v1/camera/0"],
      ["GET", "/"],
      ["PUT", "/api/v1/camera/0/maxadu"],
      ["GET", "/api/v1/camera/0/startexposure"],
      ["POST", "/api/v1/camera/0/gain"],
      ["GET", "/management/v1/grain"],
      ["PUT", "/management/apiversions"],
      ["GET", "/setup/v1/lamp/0/setup"],
    ] as const) {
      const { status } = await client.send(method, path, encoded({ ClientID: 1 }));
      expect([method, path, status >= 400 && status < 500]).toEqual([method, path, true]);
    }
  }));

test("a whole run on Alpaca devices: every request is as described, and so is every reply", async () => {
  await using run = await openStage({
    protocol: "alpaca",
    rig: { instead: { diffuser: "device: Scene Switches, switch: Diffuser" } },
  });
  const problems: string[] = [];
  const members = new Set<string>();
  run.simulator.alpacaServer.addFilter(async (request, reply) => {
    const { method, path, query, form } = request;
    const asked = method === "GET" ? { method, path, query } : { method, path, form };
    const { status, contentType, body } = await reply();
    const text = contentType === "application/imagebytes" ? "" : new TextDecoder().decode(body);
    members.add(`${method} ${path}`);
    problems.push(
      ...requestProblems(asked).map((problem) => `${method} ${path}?${query}${form}: ${problem}`),
      ...replyProblems(asked, { status, contentType, body: text }).map(
        (problem) => `${path}: ${problem}: ${text}`,
      ),
    );
    return { status, contentType, body };
  });
  const report = await run.run();
  expect(report).toMatchObject({ ended: "completed", notAsFound: [] });
  expect(problems).toEqual([]);
  expect(members.size).toBeGreaterThan(100);
});
