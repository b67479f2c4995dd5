import type { RoleName } from "../../drivers/roles/roles.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { sceneNames } from "../../sim-devices/scene-devices.ts";

/** Which protocol the devices speak: one for all, or the roles that are on Alpaca while the rest are on INDI. */
export type ProtocolChoice = "indi" | "alpaca" | readonly RoleName[];

export interface RigChoice {
  readonly protocol?: ProtocolChoice;
  /** The rig file does not list them; the devices stand there all the same. */
  readonly without?: readonly RoleName[];
  /** Put on and taken off by a person. */
  readonly byHand?: readonly ("cover" | "diffuser")[];
  /** Device entries that are written otherwise: all that follows the server's name. */
  readonly instead?: Readonly<Partial<Record<RoleName, string>>>;
  /** Default: the rig file's own. */
  readonly silenceSecondsMax?: number;
  /** The Alpaca server's, where it is reached over sockets. */
  readonly alpacaPort?: number;
}

/** The text of a rig file for a scene, true to it in every fact. */
export function rigTextFor(scene: SceneSpec, choice: RigChoice = {}): string {
  const { protocol = "indi", without = [], byHand = [], instead = {}, alpacaPort = 11111 } = choice;
  const { silenceSecondsMax } = choice;
  const silence = silenceSecondsMax === undefined ? "" : `, silenceSecondsMax: ${silenceSecondsMax}`;
  const { site, optics } = scene;
  const isAlpaca = (role: RoleName) =>
    protocol === "alpaca" || (protocol !== "indi" && protocol.includes(role));
  const entryOf = (role: RoleName, device: string) =>
    byHand.some((name) => name === role)
      ? "{ by: hand }"
      : `{ server: ${isAlpaca(role) ? "hut" : "scene"}, ${instead[role] ?? `device: ${device}`} }`;
  const devices = (Object.entries(sceneNames) as [RoleName, string][])
    .filter(([role]) => !without.includes(role))
    .map(([role, device]) => `  ${role}: ${entryOf(role, device)}`);
  return `rig: scene
site: { latitudeDegrees: ${site.latitudeDegrees}, longitudeDegrees: ${site.longitudeDegrees}, elevationMetres: ${site.elevationMetres}, timeZone: UTC }
optics: { apertureMm: ${optics.apertureMm}, focalLengthMm: ${optics.focalLengthMm}, wavelengthNm: ${optics.wavelengthNm} }
sunFilter: { describe: simulated, madeForThisInstrument: true, lastConfirmed: ${scene.startUtc.slice(0, 10)}, confirmAgainAfterDays: 90 }
limits: { freeDiskMegabytesMin: 50${silence} }
servers:
  scene: { indi: { host: 127.0.0.1, port: 7624 } }
  hut: { alpaca: { host: 127.0.0.1, port: ${alpacaPort} } }
devices:
${devices.join("\n")}
`;
}
