import type { World } from "../../../sim-devices/scene/world.ts";
import type { Fault } from "./fault.ts";

/** A second client of the rig commands it: another program, another computer, a handset. */

const deeds = {
  "opens the cover": ["cover", ({ cover }: World) => cover.moveTo(1)],
  "closes the cover": ["cover", ({ cover }: World) => cover.moveTo(0)],
  "puts the diffuser in": ["diffuser", ({ diffuser }: World) => diffuser.moveTo(1)],
  "takes the diffuser out": ["diffuser", ({ diffuser }: World) => diffuser.moveTo(0)],
  "slews the mount away": ["mount", slewAway],
  "switches tracking off": ["mount", ({ mount }: World) => mount.setTracking(false)],
  "parks the mount": ["mount", ({ mount }: World) => mount.park()],
  "changes the gain": [
    "camera",
    ({ camera: { settings } }: World) => Object.assign(settings, { gain: settings.gain + 17 }),
  ],
  "aborts the exposure": ["camera", ({ camera }: World) => camera.abort()],
  "moves the focuser": ["focuser", ({ focuser }: World) => focuser.moveTo(focuser.position + 700)],
  "shuts the dome": ["dome", ({ dome }: World) => dome.shutter.moveTo(0)],
} as const;

function slewAway({ mount }: World): void {
  const { raHours, decDegrees } = mount.believed;
  mount.unpark();
  mount.slewTo({ raHours: (raHours + 1.5) % 24, decDegrees: Math.min(85, decDegrees + 20) }, true);
}

export type ForeignDeed = keyof typeof deeds;
export const foreignDeeds = Object.keys(deeds) as readonly ForeignDeed[];

export function otherClient(deed: ForeignDeed): Fault {
  return {
    name: `another client ${deed}`,
    foreign: [deeds[deed][0]],
    begin: ({ world }) => {
      deeds[deed][1](world);
      return undefined;
    },
  };
}
