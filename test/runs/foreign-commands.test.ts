import { expect, test } from "vitest";
import * as z from "zod";
import { AlpacaServer } from "../../drivers/alpaca/wire/server.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { neverAborted } from "../../drivers/kit/never-aborted.ts";
import { HandClient } from "../sim-devices/sim-session.ts";
import { tinyScene } from "../stage/scenes.ts";
import { openStage, type Stage } from "../stage/stage.ts";

/** Once the flat has three of its frames, the cover open on the Sun. */
async function playInMidFlat(stage: Stage, meanwhile: (stage: Stage) => Promise<void>) {
  let begun = false;
  return await stage.play({
    onProgress: ({ what, done }) => {
      if (what !== "flat frames" || done < 3 || begun) return;
      begun = true;
      void stage.clock.hold(meanwhile(stage));
    },
  });
}

async function sayOverIndi({ simulator }: Stage, command: string): Promise<void> {
  const client = new HandClient(await simulator.openIndi(neverAborted));
  await client.say('<getProperties version="1.7"/>');
  await client.say(command);
}

async function putOverAlpaca(
  { simulator, clock }: Stage,
  path: string,
  parameters: Record<string, number>,
): Promise<void> {
  const exchange = simulator.openAlpaca();
  await using server = new AlpacaServer({ exchange, clock, log: silentLog, clientId: 7, name: "another" });
  const put = { method: "PUT", path: `/api/v1/${path}`, device: path, member: path } as const;
  await server.ask({ ...put, parameters, schema: z.unknown(), withinSeconds: 10, signal: neverAborted });
}

const closesCover = `<newSwitchVector device="Scene Cover" name="CAP_PARK"><oneSwitch name="PARK">On</oneSwitch><oneSwitch name="UNPARK">Off</oneSwitch></newSwitchVector>`;
const setsGain = `<newNumberVector device="Scene Camera" name="CCD_GAIN"><oneNumber name="GAIN">7</oneNumber></newNumberVector>`;

test.each([
  [
    "INDI",
    "indi",
    "closes the cover",
    (stage: Stage) => sayOverIndi(stage, closesCover),
    /Scene Cover: another client of INDI server .* commanded CAP_PARK/,
  ],
  [
    "INDI",
    "indi",
    "sets the camera's gain",
    (stage: Stage) => sayOverIndi(stage, setsGain),
    /Scene Camera: another client of INDI server .* commanded CCD_GAIN/,
  ],
  [
    "Alpaca",
    "alpaca",
    "closes the cover",
    (stage: Stage) => putOverAlpaca(stage, "covercalibrator/0/closecover", {}),
    /Scene Cover: it was open and is/,
  ],
] as const)(
  "over %s somebody else %s in mid-flat: the run retreats and says who did what, exit code 4",
  async (_, protocol, _what, meanwhile, words) => {
    await using stage = await openStage({ scene: tinyScene, protocol });
    const run = await playInMidFlat(stage, meanwhile);
    expect(run.exitCode).toBe(4);
    expect(run.record!.guardEvents.flatMap(({ reasons }) => reasons).join()).toMatch(words);
    expect(run.violations).toEqual([]);
    expect(stage.world.cover.position).toBe(0);
  },
);
