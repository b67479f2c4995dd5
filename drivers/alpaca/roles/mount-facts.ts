import type { AlpacaDevice } from "../session/device.ts";
import { number, wholes } from "../wire/values.ts";

/** What a mount can do by its own account, read once it is connected. */
export interface MountFacts {
  /** EquatorialCoordinateType: 0 other, 1 topocentric of date, 2 J2000, 3 J2050, 4 B1950. */
  readonly equatorialSystem: number;
  readonly canSlewAsync: boolean;
  /** Answers only when it has arrived; mounts of older interfaces may have no other way. */
  readonly canSlewSync: boolean;
  readonly canPark: boolean;
  readonly canUnpark: boolean;
  readonly canSync: boolean;
  readonly canSetTracking: boolean;
  readonly canPulseGuide: boolean;
  readonly canSetGuideRates: boolean;
  readonly canSetRaRate: boolean;
  readonly canSetDecRate: boolean;
  /** DriveRate numbers. */
  readonly trackingRates: readonly number[];
  /** Nominal [degrees/s]; `undefined` where the mount does not say. */
  readonly guideRaDegreesPerSecond: number | undefined;
  readonly guideDecDegreesPerSecond: number | undefined;
  readonly hasSite: boolean;
  /** A fork or an altazimuth mount: it has no pier to go round. */
  readonly neverFlips: boolean;
}

/** DriveRate of the standard. */
export const driveRate = { sidereal: 0, lunar: 1, solar: 2, king: 3 } as const;

/** AlignmentModes of the standard: 0 altazimuth, 1 polar. */
const germanPolar = 2;

export async function readMountFacts(device: AlpacaDevice, signal: AbortSignal): Promise<MountFacts> {
  const can = (member: string) => device.can(member, signal);
  const may = (member: string) => device.optional(member, number, signal);
  const canPulseGuide = await can("canpulseguide");
  return {
    equatorialSystem: (await may("equatorialsystem")) ?? 0,
    canSlewAsync: await can("canslewasync"),
    canSlewSync: await can("canslew"),
    canPark: await can("canpark"),
    canUnpark: await can("canunpark"),
    canSync: await can("cansync"),
    canSetTracking: await can("cansettracking"),
    canPulseGuide,
    canSetGuideRates: await can("cansetguiderates"),
    canSetRaRate: await can("cansetrightascensionrate"),
    canSetDecRate: await can("cansetdeclinationrate"),
    trackingRates: (await device.optional("trackingrates", wholes, signal)) ?? [driveRate.sidereal],
    guideRaDegreesPerSecond: canPulseGuide ? await may("guideraterightascension") : undefined,
    guideDecDegreesPerSecond: canPulseGuide ? await may("guideratedeclination") : undefined,
    hasSite: (await may("sitelatitude")) !== undefined,
    neverFlips: ((await may("alignmentmode")) ?? germanPolar) !== germanPolar,
  };
}
