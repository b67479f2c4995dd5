import type { IndiDevice } from "../session/device.ts";
import { parkedOf } from "./mount-reading.ts";

const property = "TELESCOPE_PARK";

export interface ParkBudget {
  readonly withinSeconds: number;
  readonly beforeParking: () => Promise<void>;
}

/** Unparking or stopping a mount in the middle of its parking leaves it without a known place: the end is waited for. */
export async function waitForParking(
  device: IndiDevice,
  withinSeconds: number,
  signal: AbortSignal,
): Promise<void> {
  await device.waitFor(property, (vector) => vector.state !== "Busy", { withinSeconds }, signal);
}

/** Parks or unparks; nothing to do for a mount that cannot. */
export async function setParked(
  device: IndiDevice,
  parked: boolean,
  budget: ParkBudget,
  signal: AbortSignal,
): Promise<void> {
  if (!device.property(property)) return;
  await waitForParking(device, budget.withinSeconds, signal);
  if (parkedOf(await device.refresh(property, {}, signal)) === parked) return;
  if (parked) await budget.beforeParking();
  await device.change(
    property,
    { PARK: parked, UNPARK: !parked },
    {
      withinSeconds: budget.withinSeconds,
      // The first answers may still show the old place.
      settleSeconds: 2,
      arrived: (vector) => parkedOf(vector) === parked,
    },
    signal,
  );
}
