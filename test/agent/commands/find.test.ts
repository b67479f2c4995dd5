import { expect, test } from "vitest";
import { type FindCommandOptions, find } from "../../../agent/commands/find.ts";
import { CommandError } from "../../../agent/commands/outcome.ts";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { readRigFile } from "../../../plans/rig-file.ts";
import { ScriptedAlpaca } from "../../drivers/alpaca/scripted-alpaca.ts";
import { ScriptedServer } from "../../drivers/indi/scripted-server.ts";
import { goodRig } from "../../plans/broken-files.ts";
import { TestHost } from "./command-host.ts";

class RealTimeHost extends TestHost {
  override readonly clock = systemClock as never;
}

const driverInfo = (device: string, bits: number, version: string) =>
  `<defTextVector device="${device}" name="DRIVER_INFO" state="Idle" perm="ro">
<defText name="DRIVER_NAME">${device}</defText><defText name="DRIVER_VERSION">${version}</defText>
<defText name="DRIVER_INTERFACE">${bits}</defText></defTextVector>`;

function network() {
  const hut = new ScriptedAlpaca(systemClock);
  for (const [type, name] of [
    ["Camera", "Main"],
    ["Camera", "Guide"],
    ["FilterWheel", "Drum"],
    ["FilterWheel", "Drum"],
    ["SafetyMonitor", "Guardian"],
    ["ObservingConditions", "Mast"],
    ["Switch", "Relays"],
  ] as const)
    hut.add(type, name, {}, { connected: false });
  const roof = new ScriptedServer(systemClock)
    .load(driverInfo("Mount A", 5, "3.1"))
    .load(driverInfo("Cap A", 512, "1.0"));
  const links: FindCommandOptions["links"] = {
    targets: [],
    exchange: () => hut,
    openers: ({ host }) => (host === "nowhere" ? () => Promise.reject(new Error("no such host")) : roof.open),
  };
  return { hut, roof, options: { seconds: "0.1", alpaca: ["hut.local:11111"], indi: ["roof.local"], links } };
}

test("both protocols: servers, devices, versions, what each could be; nothing is connected", async () => {
  const { hut, roof, options } = network();
  const { result, text, exitCode } = await find(
    { ...options, indi: ["roof.local", "nowhere:1"] },
    new RealTimeHost(),
    neverAborted,
  );
  expect(exitCode).toBe(0);
  expect(result).toMatchObject({
    servers: [
      { protocol: "alpaca", host: "hut.local", port: 11111 },
      {
        protocol: "indi",
        host: "roof.local",
        port: 7624,
        devices: [
          { name: "Mount A", version: "3.1", roles: ["mount"] },
          { name: "Cap A", roles: ["cover", "diffuser"] },
        ],
      },
    ],
    silent: [{ protocol: "indi", host: "nowhere", port: 1 }],
  });
  expect(text).toContain("  Main (camera/0 1.2): camera");
  expect(text).toContain("no answer: indi nowhere:1");
  expect(hut.seen.every(({ method }) => method === "GET")).toBe(true);
  expect(hut.problems).toEqual([]);
  expect(roof.commands).toEqual([]);
});

test("what is printed can be pasted into a rig file", async () => {
  const { options } = network();
  const { result } = await find(options, new RealTimeHost(), neverAborted);
  const { rigBlock } = result as { rigBlock: string };
  const rest = goodRig.slice(0, goodRig.indexOf("servers:"));
  const rig = readRigFile(`${rest}${rigBlock}\n`, "r.yaml");
  expect(rig.servers).toEqual({
    alpaca: { alpaca: { host: "hut.local", port: 11111 } },
    indi: { indi: { host: "roof.local", port: 7624 } },
  });
  expect(rig.devices).toMatchObject({
    camera: { server: "alpaca", device: "Main" },
    mount: { server: "indi", device: "Mount A" },
    cover: { server: "indi", device: "Cap A" },
    wheel: { server: "alpaca", device: "filterwheel/0" },
    weather: { server: "alpaca", device: "Guardian", conditions: "observingconditions/0" },
  });
  expect(rigBlock).toContain('  # camera: { server: alpaca, device: "Guide" }');
  expect(rigBlock).toContain('  # diffuser: { server: alpaca, device: "Relays", switch: NAME OR NUMBER }');
});

test("a server that answers from two addresses is one server", async () => {
  const { options } = network();
  const { result } = await find(
    { ...options, indi: [], alpaca: ["10.0.0.5:11111", "127.0.0.1:11111"] },
    new RealTimeHost(),
    neverAborted,
  );
  expect((result as { servers: unknown[] }).servers).toMatchObject([{ host: "127.0.0.1" }]);
});

test("nothing found is said, with what to do; a wrong address is refused before anything is asked", async () => {
  const { options } = network();
  const { alpaca: _, indi: __, ...rest } = options;
  const { text } = await find({ ...rest, indi: [] }, new RealTimeHost(), neverAborted);
  expect(text).toContain("No device server was found");
  for (const wrong of [
    { indi: ["a b"] },
    { alpaca: ["host-without-port"] },
    { seconds: "soon" },
    { discoveryPort: "0" },
  ])
    await expect(find({ ...options, ...wrong }, new RealTimeHost(), neverAborted)).rejects.toBeInstanceOf(
      CommandError,
    );
});

test("a hostile server's names and words are shown as they are written, and make no lines of their own", async () => {
  const { options, roof } = network();
  roof.load(driverInfo("Cap&#10;All good: nothing to restore&#155;2J", 512, "1&#8238;2J"));
  const { text } = await find(options, new RealTimeHost(), neverAborted);
  expect(text).toContain("Cap\\u000aAll good: nothing to restore\\u009b2J");
  expect(text).toContain("1\\u202e2J");
  expect(text).not.toMatch(/[\u009b\u202e]|^All good/m);
});
