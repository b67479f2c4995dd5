import { refusesTracking, slewEndsElsewhere } from "../../agent/rehearsal/faults/world-faults.ts";
import { type ConnectOptions, connectRig, type RigEntries } from "../../drivers/connect.ts";
import type { Clock } from "../../drivers/kit/clock.ts";
import type { OpenLink } from "../../drivers/kit/links.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { greenwichSiderealHours } from "../../drivers/kit/sidereal.ts";
import type { Equatorial, Mount } from "../../drivers/roles/mount.ts";
import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import type { World } from "../../sim-devices/scene/world.ts";
import { sceneNames } from "../../sim-devices/scene-devices.ts";
import { calm, expectNoForeignCommands, type RigUnderTest } from "./conformance/rig-under-test.ts";

/** All devices of the simulated rig. */
export const sceneEntries: RigEntries = {
  servers: { scene: { indi: { host: "127.0.0.1", port: 7624 } } },
  devices: Object.fromEntries(
    Object.entries(sceneNames).map(([role, device]) => [
      role,
      { server: "scene", device, readoutSeconds: 10 },
    ]),
  ),
};

/** The same devices on an Alpaca server. */
export function alpacaEntries(port = 11111): RigEntries {
  return { ...sceneEntries, servers: { scene: { alpaca: { host: "127.0.0.1", port } } } };
}

export interface SceneLinks {
  readonly clock: Clock;
  readonly open?: OpenLink;
  readonly exchanges?: ConnectOptions["exchanges"];
  readonly entries?: RigEntries;
  readonly sameAsBefore?: () => () => void;
  readonly world: World;
}

const noLink: OpenLink = () => Promise.reject(new Error("this test has no INDI server"));

/** Connects the simulated rig and hands it to the test's work. */
export async function onSceneRig<T>(
  { clock, open = noLink, exchanges, entries = sceneEntries, sameAsBefore, world }: SceneLinks,
  work: (rig: RigUnderTest) => Promise<T>,
): Promise<T> {
  await using connected = await connectRig(
    entries,
    {
      clock,
      log: silentLog,
      random: new Random(1),
      openers: () => open,
      ...(exchanges ? { exchanges } : {}),
    },
    calm(),
  );
  connected.seal.open();
  const remember = async () => {
    const compare = sameAsBefore?.();
    return async () => compare?.();
  };
  const onAlpaca = "alpaca" in entries.servers.scene!;
  const isConnected = async (device: string) => {
    const settings = world.account()[onAlpaca ? `${device} (Alpaca)` : device];
    return String(settings?.CONNECTION).startsWith("true");
  };
  const nothing = async () => {};
  const mountFaults = {
    refuseTracking: () => void refusesTracking().begin({ world }),
    endNextSlewOff: (degrees: number) => void slewEndsElsewhere(degrees).begin({ world }),
  };
  const { rig } = connected;
  const links = { clock, remember, isConnected, mountFaults, [Symbol.asyncDispose]: nothing };
  const result = await work({ rig, ...links });
  expectNoForeignCommands(rig);
  return result;
}

/** Half an hour east of the meridian and 40 degrees from the zenith: above the horizon at any time. */
export async function southOfZenith(_: Mount, clock: Clock): Promise<Equatorial> {
  const { latitudeDegrees, longitudeDegrees } = demoScene.site;
  const localHours = greenwichSiderealHours(clock.nowMs()) + longitudeDegrees / 15;
  return { raHours: (localHours + 0.5) % 24, decDegrees: latitudeDegrees - 40 };
}
