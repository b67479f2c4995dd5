import type { RoleName } from "../../drivers/roles/roles.ts";
import { sceneNames } from "../../sim-devices/scene-devices.ts";

/**
 * The simulated rig's file with some devices on one protocol and the rest on the other.
 * @param instead device entries that are written otherwise
 */
export function rigText(
  alpaca: "all" | readonly RoleName[],
  options: { readonly port?: number; readonly instead?: Readonly<Partial<Record<RoleName, string>>> } = {},
): string {
  const isAlpaca = (role: RoleName) => alpaca === "all" || alpaca.includes(role);
  const roles = Object.entries(sceneNames) as [RoleName, string][];
  const devices = roles.map(
    ([role, device]) =>
      `  ${role}: { server: ${isAlpaca(role) ? "hut" : "scene"}, ${options.instead?.[role] ?? `device: ${device}`} }`,
  );
  return `rig: scene
site: { latitudeDegrees: 46.5, longitudeDegrees: 9.8, elevationMetres: 1720 }
optics: { apertureMm: 60, focalLengthMm: 378, wavelengthNm: 656.28 }
sunFilter: { describe: simulated, madeForThisInstrument: true, lastConfirmed: 2026-06-01, confirmAgainAfterDays: 90 }
limits: { freeDiskMegabytesMin: 50 }
servers:
  scene: { indi: { host: 127.0.0.1, port: 7624 } }
  hut: { alpaca: { host: 127.0.0.1, port: ${options.port ?? 11111} } }
devices:
${devices.join("\n")}
`;
}
