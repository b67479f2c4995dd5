import { once } from "node:events";
import type { Command } from "commander";
import { acceleratedClock } from "../../drivers/kit/clock.ts";
import { given } from "../../drivers/kit/given.ts";
import { discoveryPort } from "../../sim-devices/alpaca/discovery-responder.ts";
import { sunPlace } from "../../sim-devices/scene/sun/sun-place.ts";
import { PortTakenError, startSimulator } from "../../sim-devices/start-simulator.ts";
import { numberOption } from "./number-option.ts";
import {
  addCommand,
  type CommandHost,
  conclude,
  exitCodes,
  type Outcome,
  processHost,
  wrongInput,
} from "./outcome.ts";
import { sceneFromFile, sceneOption, seedOption, speedOf } from "./scene-from-file.ts";
import { stopWords } from "./stop-signals.ts";

export interface SimulateOptions {
  readonly scene?: string;
  readonly indi: number;
  /** Left out, no Alpaca server listens. */
  readonly alpaca?: number;
  readonly speed: number;
  /** The scene begins now, not at its own time: for programs that go by the clock of this machine. */
  readonly now?: boolean;
  readonly seed?: number;
}

/** `evenfield simulate`: simulated devices on loopback ports for any client, until it is stopped. @throws CommandError */
export async function simulate(
  options: SimulateOptions,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const scene = sceneFromFile(options);
  const spec =
    options.now === true ? { ...scene, startUtc: new Date(host.clock.nowMs()).toISOString() } : scene;
  const clock = acceleratedClock({
    speed: options.speed,
    startUtcMs: Date.parse(spec.startUtc),
    epochMs: host.clock.nowMs(),
  });
  const alpacaPorts =
    options.alpaca === undefined ? {} : { alpacaPort: options.alpaca, alpacaDiscoveryPort: discoveryPort };
  const simulator = await startSimulator({ spec, clock, indiPort: options.indi, ...alpacaPorts }).catch(
    (error: unknown) => {
      if (!(error instanceof PortTakenError)) throw error;
      const whatToDo = "Name another one with `--indi` or `--alpaca`; 0 takes any that is free.";
      throw wrongInput("Nothing was started.", `${error.message}.`, whatToDo, error);
    },
  );
  const port = simulator.indi?.port;
  const alpacaPort = simulator.alpaca?.port;
  const { altitudeDegrees } = sunPlace(spec.site, Date.parse(spec.startUtc));
  const alpaca = alpacaPort === undefined ? "" : ` and Alpaca clients on port ${alpacaPort}`;
  host.stderr(
    `Simulated devices answer INDI clients on 127.0.0.1 port ${port}${alpaca}; it is ${spec.startUtc} there, ` +
      `the Sun stands ${Math.abs(altitudeDegrees).toFixed(0)}° ${altitudeDegrees < 0 ? "below" : "above"} the horizon, and time passes ${options.speed} times as fast. Ctrl-C ends it.\n`,
  );
  if (!signal.aborted) await once(signal, "abort");
  const account = simulator.world.account();
  await simulator.close();
  return {
    exitCode: exitCodes.done,
    result: { port, ...given({ alpacaPort }), account },
    text: "The simulated devices are gone.",
  };
}

const words = {
  ...stopWords,
  first: "Taking the devices down.",
  again: "Still taking the devices down; please wait.",
};

const portOf = numberOption(
  "a port from 0 (any free one) to 65535",
  (port) => Number.isInteger(port) && port >= 0 && port <= 65535,
);

export function registerSimulate(program: Command, host: CommandHost = processHost): void {
  addCommand(program, "simulate", "evenfield simulate --indi 7624 --alpaca 11111 --speed 10")
    .addOption(sceneOption())
    .option("--indi <port>", "the port of the INDI server", portOf, 7624)
    .option("--alpaca <port>", "the port of the Alpaca server; left out, there is none", portOf)
    .option("--speed <times>", "so many times faster than real time", speedOf, 1)
    .option(
      "--now",
      "the scene begins now, for programs that go by this machine's clock; its site has to be in daylight",
    )
    .addOption(seedOption())
    .action((options: SimulateOptions & { json?: boolean }) =>
      conclude(
        host,
        { command: "simulate", json: options.json },
        (signal) => simulate(options, host, signal),
        words,
      ),
    );
}
