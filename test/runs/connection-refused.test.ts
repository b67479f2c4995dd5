import { expect, test } from "vitest";
import { tellRun } from "../../agent/run/record/run-told.ts";
import { invalidOperation } from "../../sim-devices/alpaca/ascom-error.ts";
import { rigText } from "./rig-texts.ts";
import { SimulatedRun } from "./simulated-run.ts";

const planText = "plan: waits\nsteps:\n  - wait: { minutes: 1 }\n";

/** A driver that does nothing when it is told to disconnect. */
function indiMountStaysConnected({ simulator }: SimulatedRun): void {
  const mount = simulator.server.devices.find(({ name }) => name === "Scene Mount")!;
  const receive = mount.receive.bind(mount);
  mount.receive = (command) => {
    const isOn = ({ attributes, text }: (typeof command.children)[number]) =>
      attributes.name === "DISCONNECT" && text.trim() === "On";
    if (command.attributes.name !== "CONNECTION" || !command.children.some(isOn)) receive(command);
  };
}

const alpacaMountDisconnects =
  (instead: () => void) =>
  ({ simulator }: SimulatedRun): void => {
    const mount = simulator.alpacaServer.device("telescope", 0)!;
    const ask = mount.ask.bind(mount);
    mount.ask = async (verb, name, brought) =>
      verb === "PUT" && name === "disconnect" ? instead() : await ask(verb, name, brought);
  };

test.each([
  ["INDI, without an answer", [], indiMountStaysConnected],
  [
    "Alpaca, with an error",
    "all",
    alpacaMountDisconnects(() => {
      throw invalidOperation("others use this mount");
    }),
  ],
  ["Alpaca, with a yes that does nothing", "all", alpacaMountDisconnects(() => {})],
] as const)(
  "a server refuses the mount's disconnect over %s: told with its name, exit code 6",
  async (_, alpaca, refuse) => {
    await using run = await SimulatedRun.start({ rigText: rigText(alpaca), planText });
    refuse(run);
    const report = await run.run();
    expect(report).toMatchObject({
      exitCode: 6,
      notAsFound: [
        { role: "mount", device: "Scene Mount", key: "connected", before: false, state: "different" },
      ],
    });
    expect(tellRun(report).state).toContain("Scene Mount: connected was false and is true");
    expect(run.ledger.unfinishedRuns("scene")).toHaveLength(1);
  },
);
