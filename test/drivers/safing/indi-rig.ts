import { IndiCamera } from "../../../drivers/indi/roles/camera.ts";
import { IndiCover } from "../../../drivers/indi/roles/cover.ts";
import { IndiMount } from "../../../drivers/indi/roles/mount.ts";
import { connectionText, onBench, switchText } from "../indi/role-bench.ts";
import { cameraName, ScriptedCamera } from "../indi/scripted-camera.ts";
import { mountName, ScriptedMount } from "../indi/scripted-mount.ts";
import type { ScriptedServer } from "../indi/scripted-server.ts";
import { coverName, type OnFarRig } from "./far-rig.ts";

const words: Readonly<Record<string, string>> = {
  "CAP_PARK.PARK": "close",
  "CAP_PARK.UNPARK": "open",
  "EQUATORIAL_EOD_COORD.undefined": "slew",
  "TELESCOPE_ABORT_MOTION.ABORT": "stop mount",
  "TELESCOPE_TRACK_STATE.TRACK_OFF": "tracking off",
  "TELESCOPE_TRACK_STATE.TRACK_ON": "tracking on",
  "CCD_EXPOSURE.undefined": "expose",
  "CCD_ABORT_EXPOSURE.ABORT": "stop camera",
};

export const onIndiRig: OnFarRig = (body, { poor = false, mountMovesForEver = false } = {}) =>
  onBench(
    (server) => {
      addCover(server);
      const without = poor ? ["TELESCOPE_ABORT_MOTION", "TELESCOPE_TRACK_STATE"] : [];
      new ScriptedMount(server, { without, staysBusy: mountMovesForEver });
      new ScriptedCamera(server, poor ? { without: ["CCD_ABORT_EXPOSURE"] } : {});
    },
    async ({ server, clock, signal, context, client, warnings }) => {
      const route = { enable: (property: string) => client.enableBlobs(cameraName, property), ordered: true };
      await body({
        cover: await new IndiCover(context(coverName), { role: "cover" }).open(signal),
        mount: await new IndiMount(context(mountName)).open(signal),
        camera: await new IndiCamera(context(cameraName), route).open(signal),
        clock,
        signal,
        warnings,
        sent: () =>
          server.commands.map(({ name, values, atSeconds }) => {
            const on = Object.keys(values).find((element) => values[element] === "On");
            return { what: words[`${name}.${on}`] ?? name, atSeconds };
          }),
        slow: (seconds) => {
          server.delaySeconds = seconds;
        },
        coverMovesForEver: () => {
          server.on("CAP_PARK", () => {});
          server.set(coverName, "CAP_PARK", "Busy");
        },
        openCoverFromElsewhere: () => server.commandFromElsewhere(coverName, "CAP_PARK", { UNPARK: "On" }),
        slewFromElsewhere: () =>
          server.commandFromElsewhere(mountName, "EQUATORIAL_EOD_COORD", { RA: "3", DEC: "50" }),
        cut: (forSeconds = Number.POSITIVE_INFINITY) => server.hangUp(forSeconds),
      });
    },
  );

/** Open, 4 s for one way, turning round when it is told to. */
function addCover(server: ScriptedServer): void {
  server.load(connectionText(coverName));
  server.load(switchText(coverName, "CAP_PARK", { PARK: false, UNPARK: true }));
  let last = 0;
  server.on("CAP_PARK", ({ values }) => {
    const run = ++last;
    server.set(coverName, "CAP_PARK", "Busy", values);
    server.after(4, () => {
      if (run === last) server.set(coverName, "CAP_PARK", "Ok");
    });
  });
}
