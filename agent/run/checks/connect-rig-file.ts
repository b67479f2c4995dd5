import { type ConnectOptions, connectRig } from "../../../drivers/connect.ts";
import type { Clock } from "../../../drivers/kit/clock.ts";
import { given } from "../../../drivers/kit/given.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import type { Random } from "../../../drivers/kit/random.ts";
import { RigSeal } from "../../../drivers/kit/seal.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { type AskPerson, ManualCover } from "./hand-cover.ts";
import { viewColour } from "./view-colour.ts";

/** How to reach the servers of a rig file: TCP as a rule, memory for rehearsals and tests. */
export type Openers = ConnectOptions["openers"];

/** Writes down, before a device is connected, whether it was found so. */
export type RecordFound = (role: RoleName, device: string, connected: boolean) => void;

/** The rig's devices with their links; disposing gives the links back and restores nothing. */
export interface ConnectedRig extends AsyncDisposable {
  readonly rig: Rig;
  /** Closed: no command leaves but to connect. Whoever has the baseline on disk opens it. */
  readonly seal: RigSeal;
  /** After it was disposed of: roles whose devices were found disconnected and may not be so again. */
  leftConnected(): readonly RoleName[];
}

/**
 * Connects every device of the rig, telling `found` of each before it changes anything about it.
 * @throws with all that failed, nothing left open
 */
export type ConnectRig = (
  signal: AbortSignal,
  found: RecordFound,
  purpose?: ConnectPurpose,
) => Promise<ConnectedRig>;

/**
 * `putting back`: what did not open is gone without. `making safe`: besides that a cover is told to close as soon as it is
 * there, because nobody knows how it stands, nor how long the others take.
 */
export type ConnectPurpose = "working" | "putting back" | "making safe";

export interface ConnectTools {
  readonly openers: Openers;
  /** The same for Alpaca servers. Default: HTTP over sockets. */
  readonly exchanges?: ConnectOptions["exchanges"] | undefined;
  readonly clock: Clock;
  readonly random: Random;
  readonly log: Log;
  /** Somebody at the terminal; without, what is moved by hand is not there. */
  readonly askPerson?: AskPerson | undefined;
  readonly found?: RecordFound;
  /** Default: working. */
  readonly purpose?: ConnectPurpose | undefined;
}

/** Connects what a rig file lists. @throws RigNotConnectedError naming all that failed */
export async function connectRigFile(
  rigFile: RigFile,
  tools: ConnectTools,
  signal: AbortSignal,
): Promise<ConnectedRig> {
  const { openers, exchanges, clock, random, log, askPerson, found, purpose } = tools;
  const seal = new RigSeal();
  if (purpose !== undefined && purpose !== "working") seal.open(); // its baseline is on the disk already
  const puttingBack: Pick<ConnectOptions, "goOnWithout" | "opened"> = {
    goOnWithout: ({ message }) => log.warn({ message }, "putting back without what does not answer"),
    opened: (device) => {
      if (purpose !== "making safe" || device.role !== "cover") return;
      device.sendClose(signal).catch((error: unknown) => {
        log.warn({ device: device.name, error: String(error) }, "the cover could not be told to close");
      });
    },
  };
  const opened = await connectRig(
    rigFile,
    {
      openers,
      clock,
      random,
      log,
      seal,
      ...given({ exchanges, found }),
      ...(purpose !== undefined && purpose !== "working" && puttingBack),
    },
    signal,
  );
  await using stack = new AsyncDisposableStack();
  stack.use(opened);
  const byHand = (role: "cover" | "diffuser") => {
    const entry = rigFile.devices[role];
    return askPerson && entry && "by" in entry ? { [role]: new ManualCover(role, askPerson) } : {};
  };
  const rig = {
    ...opened.rig,
    // a look at a rig at rest connects none
    ...("camera" in rigFile.devices && { camera: viewColour(opened.rig.camera, rigFile) }),
    ...byHand("cover"),
    ...byHand("diffuser"),
  };
  const kept = stack.move();
  return {
    seal,
    rig,
    leftConnected: () => opened.leftConnected(),
    [Symbol.asyncDispose]: () => kept.disposeAsync(),
  };
}
