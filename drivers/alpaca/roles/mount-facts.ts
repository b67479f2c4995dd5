import { resolveAll } from "../../kit/resolve-all.ts";
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
  const guideRates = async () => {
    const canPulseGuide = await can("canpulseguide");
    if (!canPulseGuide)
      return { canPulseGuide, guideRaDegreesPerSecond: undefined, guideDecDegreesPerSecond: undefined };
    const rates = await resolveAll({ ra: may("guideraterightascension"), dec: may("guideratedeclination") });
    return { canPulseGuide, guideRaDegreesPerSecond: rates.ra, guideDecDegreesPerSecond: rates.dec };
  };
  const { equatorialSystem, trackingRates, latitude, alignment, guiding, ...abilities } = await resolveAll({
    equatorialSystem: may("equatorialsystem"),
    canSlewAsync: can("canslewasync"),
    canSlewSync: can("canslew"),
    canPark: can("canpark"),
    canUnpark: can("canunpark"),
    canSync: can("cansync"),
    canSetTracking: can("cansettracking"),
    guiding: guideRates(),
    canSetGuideRates: can("cansetguiderates"),
    canSetRaRate: can("cansetrightascensionrate"),
    canSetDecRate: can("cansetdeclinationrate"),
    trackingRates: device.optional("trackingrates", wholes, signal),
    latitude: may("sitelatitude"),
    alignment: may("alignmentmode"),
  });
  return {
    ...abilities,
    ...guiding,
    equatorialSystem: equatorialSystem ?? 0,
    trackingRates: trackingRates ?? [driveRate.sidereal],
    hasSite: latitude !== undefined,
    neverFlips: (alignment ?? germanPolar) !== germanPolar,
  };
}
