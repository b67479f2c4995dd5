import { IndiClient, type IndiClientOptions } from "../../../drivers/indi/session/client.ts";
import type { IndiDevice } from "../../../drivers/indi/session/device.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { FarEnd, vector } from "./far-end.ts";

export const signal = new AbortController().signal;

/** A client on a virtual clock with its far end in the test's hands. */
export function testClient(options: Partial<IndiClientOptions> = {}) {
  const clock = new VirtualClock(Date.UTC(2026, 5, 1, 10));
  const far = new FarEnd();
  const client = new IndiClient({ open: far.open, clock, log: silentLog, random: new Random(5), ...options });
  return { clock, far, client };
}

/** The same with a device "D" that offers a number N (A=1, B=2), connected. */
export async function testDevice(
  state = "Idle",
  work: (at: {
    clock: VirtualClock;
    far: FarEnd;
    client: IndiClient;
    device: IndiDevice;
    startMs: number;
  }) => Promise<void>,
): Promise<void> {
  const { clock, far, client } = testClient();
  far.on(/<pingRequest/, (text) => far.say(`<pingReply uid="${/uid="([^"]*)"/.exec(text)?.[1]}"/>`));
  far.on(/<getProperties version="1.7"\/>/, () =>
    far.say(vector("def", "Number", "D", "N", state, { A: 1, B: 2 })),
  );
  await clock.drive(
    (async () => {
      await client.connect(signal);
      const device = client.device("D");
      await device.require(["N"], { withinSeconds: 5 }, signal);
      await work({ clock, far, client, device, startMs: clock.nowMs() });
      await client.close();
    })(),
  );
  if (clock.pendingTimers > 0) throw new Error(`${clock.pendingTimers} timers are left over`);
}
