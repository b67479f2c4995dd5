import { expect, test } from "vitest";
import { at } from "../../agent/rehearsal/faults/fault.ts";
import { linksDown } from "../../agent/rehearsal/faults/wire-faults.ts";
import { describeRun } from "../../agent/run/record/describe-run.ts";
import { invalidOperation } from "../../sim-devices/alpaca/ascom-error.ts";
import { openStage, type Stage } from "../stage/stage.ts";

const planText = "plan: waits\nsteps:\n  - wait: { minutes: 1 }\n";

/** A driver that does nothing when it is told to disconnect. */
function indiMountStaysConnected({ simulator }: Stage): void {
  const mount = simulator.indiServer.devices.find(({ name }) => name === "Scene Mount")!;
  const receive = mount.receive.bind(mount);
  mount.receive = (command) => {
    const isOn = ({ attributes, text }: (typeof command.children)[number]) =>
      attributes.name === "DISCONNECT" && text.trim() === "On";
    if (command.attributes.name !== "CONNECTION" || !command.children.some(isOn)) receive(command);
  };
}

const alpacaMountDisconnects =
  (instead: () => void) =>
  ({ simulator }: Stage): void => {
    const mount = simulator.alpacaServer.device("telescope", 0)!;
    const ask = mount.ask.bind(mount);
    mount.ask = async (verb, name, brought) =>
      verb === "PUT" && name === "disconnect" ? instead() : await ask(verb, name, brought);
  };

test.each([
  ["INDI, without an answer", "indi", indiMountStaysConnected],
  [
    "Alpaca, with an error",
    "alpaca",
    alpacaMountDisconnects(() => {
      throw invalidOperation("others use this mount");
    }),
  ],
  ["Alpaca, with a yes that does nothing", "alpaca", alpacaMountDisconnects(() => {})],
] as const)(
  "a server refuses the mount's disconnect over %s: told with its name, exit code 6",
  async (_, protocol, refuse) => {
    await using run = await openStage({ protocol, plan: planText });
    refuse(run);
    const report = await run.run();
    expect(report).toMatchObject({
      exitCode: 6,
      notAsFound: [
        { role: "mount", device: "Scene Mount", key: "connected", before: false, state: "different" },
      ],
    });
    expect(describeRun(report).state).toContain("Scene Mount: connected was false and is true");
    expect(run.ledger.unfinishedRuns("scene")).toHaveLength(1);
  },
);

test("the link goes while devices are being connected: those that may be left connected are told, and restore sees to them", async () => {
  await using run = await openStage({ plan: planText });
  run.begin(at(0.1).for(60, linksDown(60)));
  const report = await run.run();
  expect(report).toMatchObject({ ended: "failed", exitCode: 6, failure: { code: "RIG_NOT_CONNECTED" } });
  const left = report.notAsFound.map(({ device, key, why }) => ({ device, key, why }));
  expect(left).toContainEqual({
    device: "Scene Camera",
    key: "connected",
    why: "the link was gone before it could be disconnected",
  });
  expect(run.ledger.unfinishedRuns("scene")).toHaveLength(1);
  await run.clock.drive(run.clock.sleep(60));
  await run.restore();
  expect(run.differences()).toEqual([]);
  expect(run.ledger.unfinishedRuns("scene")).toEqual([]);
});

test("the link goes for good before there is a baseline: devices that may be left connected are told", async () => {
  await using run = await openStage({ plan: planText });
  run.begin(at(1).begins(linksDown(Number.POSITIVE_INFINITY)));
  const report = await run.run();
  expect(report).toMatchObject({ ended: "failed", exitCode: 6 });
  expect(report.notAsFound.map(({ key }) => key)).toContain("connected");
  expect(run.ledger.unfinishedRuns("scene")).toHaveLength(1);
});
