import type { Camera } from "../../../drivers/roles/camera.ts";
import type { Cover } from "../../../drivers/roles/cover.ts";
import type { Mount } from "../../../drivers/roles/mount.ts";
import { onAlpaca } from "../alpaca/alpaca-bench.ts";
import { json, type Seen } from "../alpaca/scripted-alpaca.ts";
import { cameraName, ScriptedCamera } from "../alpaca/scripted-camera.ts";
import { mountName, ScriptedMount } from "../alpaca/scripted-mount.ts";
import { addCover } from "../alpaca/scripted-movers.ts";
import { coverName, type OnFarRig } from "./far-rig.ts";

const words: Readonly<Record<string, string>> = {
  closecover: "close",
  opencover: "open",
  slewtocoordinatesasync: "slew",
  abortslew: "stop mount",
  "tracking False": "tracking off",
  "tracking True": "tracking on",
  startexposure: "expose",
  abortexposure: "stop camera",
};

export const onAlpacaRig: OnFarRig = (body, { poor = false, mountMovesForEver = false } = {}) => {
  let cover: ReturnType<typeof addCover>;
  let mount: ScriptedMount;
  return onAlpaca(
    (far, clock) => {
      cover = addCover(far, clock, coverName, { status: 3 });
      mount = new ScriptedMount(far, clock, { staysSlewing: mountMovesForEver });
      new ScriptedCamera(far, clock, { canAbort: !poor });
      if (poor) far.intercept = ({ member }) => missing[member];
    },
    async ({ far, clock, signal, open, warnings }) => {
      await body({
        cover: (await open("cover", { device: coverName })) as unknown as Cover,
        mount: (await open("mount", { device: mountName })) as unknown as Mount,
        camera: (await open("camera", { device: cameraName })) as unknown as Camera,
        clock,
        signal,
        warnings,
        sent: () => far.seen.filter(({ method }) => method === "PUT").map(asSent),
        slow: (seconds) => {
          far.delaySeconds = seconds;
        },
        coverMovesForEver: () => {
          far.intercept = ({ member, method }) =>
            member === "coverstate" && method === "GET" ? json({ Value: 2, ErrorNumber: 0 }) : undefined;
        },
        openCoverFromElsewhere: () => cover.go(3),
        slewFromElsewhere: () => mount.slewFromElsewhere(3, 50),
        cut: (forSeconds) => {
          far.intercept = () => "refuse";
          if (forSeconds === undefined) return;
          clock.setTimer(forSeconds, () => {
            far.intercept = undefined;
          });
        },
      });
    },
  );
};

const missing: Readonly<Record<string, ReturnType<typeof json>>> = {
  abortslew: json({ ErrorNumber: 0x400, ErrorMessage: "not implemented" }),
  cansettracking: json({ ErrorNumber: 0, Value: false }),
};

function asSent({ member, parameters, seconds }: Seen) {
  const what = words[`${member} ${parameters.get("Tracking")}`] ?? words[member] ?? member;
  return { what, atSeconds: seconds };
}
