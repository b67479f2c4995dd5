import { withDeadline } from "../../drivers/kit/deadline.ts";
import { DeadlineError } from "../../drivers/kit/errors.ts";
import { given } from "../../drivers/kit/given.ts";
import type { Cover } from "../../drivers/roles/cover.ts";
import { countCodes, quantileAdu } from "../imaging/exposure/histogram.ts";
import { placeAt } from "../sky/tangent-plane.ts";
import { type Covered, contradictCover } from "./front.ts";
import { isSunUp, sunSeparationDegrees } from "./off-sun.ts";
import type { SafingTools } from "./safing-tools.ts";

/** This near the Sun's centre the middle of the frame would show the disc [degrees]. */
const onDiscDegrees = 0.15;
/** Light in a frame speaks against the cover only where the Sun can be meant [degrees]. */
const nearDiscDegrees = 5;
/** A frame is exposed so that the open Sun would reach this share of full scale. */
const wantedFraction = 0.5;
const exposureSecondsMax = 2;
/** Less of full scale than this would not stand out from the pedestal's own changes. */
const tellingFraction = 0.1;
/** More than this share of the open light is no leak but an open cover. */
export const openFraction = 0.2;
const frameSecondsMax = 30;
const mountSecondsMax = 5;

/**
 * Looks whether the front is covered: by the cover's own report and, where the telescope points near the Sun and the light
 * of an open front is known, by a frame. A frame that shows that light contradicts any report; a dark one proves something
 * only where the disc would be in it. A camera that fails leaves it at the report.
 */
export async function proveCovered(tools: SafingTools, signal: AbortSignal): Promise<Covered> {
  const { cover } = tools.rig;
  if (!cover) return { proved: false, why: "the rig has no cover" };
  const state = await cover.state(signal);
  const reads = cover.isMovedByHand ? "nobody has said that the cap is on" : `the cover reads ${state}`;
  if (state !== "closed") return { proved: false, why: reads };
  // A frame was dark, and nobody has opened since.
  if (tools.front.expectedClosed && tools.front.covered.proved && tools.front.covered.by === "a dark frame")
    return tools.front.covered;
  const light = await lookForLight(tools, signal).catch((error: unknown) => {
    const isLate = signal.reason instanceof DeadlineError;
    if (!signal.aborted || isLate)
      tools.front.unseen = `the covered frame could not be taken (${String(error)})`;
    signal.throwIfAborted();
    tools.log.warn({ error: String(error) }, "the covered frame could not be taken");
    return undefined;
  });
  const { front } = tools;
  const isLit = light !== undefined && light.share >= openFraction;
  if (light?.onDisc && !isLit) {
    delete front.contradiction;
    delete front.unseen;
    delete front.disobeyed;
    return { proved: true, by: "a dark frame" };
  }
  const said = cover.isMovedByHand ? "you said that the cap is on" : "the cover says that it is closed";
  if (isLit)
    contradictCover(front, `${said}, and a frame shows ${percent(light.share)} of the light of an open one`);
  // Off the Sun no frame can tell any more: a report that was false is not believed then.
  if (front.contradiction !== undefined) return { proved: false, why: front.contradiction };
  return { proved: true, by: wordOf(cover), ...given({ unseen: front.unseen ?? front.disobeyed }) };
}

function wordOf(cover: Cover): "a person's word" | "the cover's report" {
  return cover.isMovedByHand ? "a person's word" : "the cover's report";
}

interface FrameLight {
  /** Of the light of an open front. */
  readonly share: number;
  /** Whether the disc would be in the middle of the frame. */
  readonly onDisc: boolean;
}

/** What a frame shows. @returns `undefined` where it could not tell */
async function lookForLight(tools: SafingTools, signal: AbortSignal): Promise<FrameLight | undefined> {
  const { rig, clock } = tools;
  const rate = await rateOfOpenFront(tools, signal);
  const offDegrees = rate && (await offDiscDegrees(tools, signal));
  if (!rate || offDegrees === undefined) return undefined;
  const { camera } = rig;
  const { min, max } = camera.limits.exposureSeconds;
  const topAdu = tools.findings.topCodeAdu ?? camera.limits.fullScaleAdu;
  const rangeAdu = topAdu - rate.pedestalAdu;
  const wanted = (wantedFraction * rangeAdu) / rate.edgeAduPerSecond;
  const exposureSeconds = Math.max(min, Math.min(wanted, max, exposureSecondsMax));
  const openAdu = Math.min(rangeAdu, rate.edgeAduPerSecond * exposureSeconds);
  if (openAdu < tellingFraction * rangeAdu) return undefined;
  const limits = { device: camera.name, what: "the covered frame", withinSeconds: frameSecondsMax, signal };
  // A frame of type "dark" would close a shutter in the camera, and prove nothing of the cover.
  const frame = await withDeadline(clock, limits, (limited) =>
    camera.expose({ exposureSeconds, frameType: "light" }, limited),
  );
  const brightAdu = quantileAdu(countCodes(frame.pixelsAdu), 0.98)! - rate.pedestalAdu;
  camera.giveBack(frame.pixelsAdu);
  return { share: Math.max(0, brightAdu) / openAdu, onDisc: offDegrees <= onDiscDegrees };
}

async function rateOfOpenFront(
  { rig: { diffuser }, findings: { lightRate, lightSeen } }: SafingTools,
  signal: AbortSignal,
) {
  const bare = lightSeen ?? lightRate.none;
  if (!diffuser) return bare;
  const state = await diffuser.state(signal);
  if (state === "closed") return lightRate.diffuser;
  return state === "open" ? bare : undefined;
}

/**
 * How far the telescope points from the Sun's centre. Before the Sun is centred, where light has been seen, as the mount
 * says, and never on the disc. @returns `undefined` where the Sun is not expected in a frame
 */
async function offDiscDegrees(tools: SafingTools, signal: AbortSignal): Promise<number | undefined> {
  const { rig, site, clock, findings } = tools;
  const utcMs = clock.nowMs();
  if (!isSunUp(site, utcMs)) return undefined;
  // A rig without a mount is where somebody has pointed it: at the Sun, as far as any step knows.
  if (!rig.mount) return 0;
  const { mount } = rig;
  const limits = { device: mount.name, what: "the mount's place", withinSeconds: mountSecondsMax, signal };
  const state = await withDeadline(clock, limits, (limited) => mount.state(limited)).catch(() => undefined);
  signal.throwIfAborted();
  // Where a mount that does not answer stood last: light speaks against the cover all the same.
  if (!state) return findings.sunPointing || findings.lightSeen ? nearDiscDegrees : undefined;
  const { pointing } = state;
  if (findings.pointingError && findings.sunPointing) {
    const offDegrees = sunSeparationDegrees(placeAt(pointing, findings.pointingError), site, utcMs);
    return offDegrees <= onDiscDegrees ? offDegrees : undefined;
  }
  if (!findings.lightSeen) return undefined;
  const offDegrees = sunSeparationDegrees(pointing, site, utcMs);
  return offDegrees <= nearDiscDegrees ? Math.max(2 * onDiscDegrees, offDegrees) : undefined;
}

const percent = (share: number) => `${(100 * share).toFixed(0)} %`;
