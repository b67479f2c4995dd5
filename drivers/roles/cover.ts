import type { Device } from "./device.ts";

/** `unknown` is never safe: it counts as open for the Sun and as closed for the picture. */
export type CoverState = "closed" | "open" | "moving" | "unknown";

/**
 * Something that swings over the front of the telescope: the dust cap (role `cover`),
 * or a translucent sheet (role `diffuser`; closed means it is in the light).
 */
export interface Cover extends Device {
  readonly role: "cover" | "diffuser";
  /** A person moves it and says so: its state is their word. */
  readonly isMovedByHand?: true;
  state(signal: AbortSignal): Promise<CoverState>;
  /** @throws DeadlineError, RefusedError when the device did not report closed */
  ensureClosed(signal: AbortSignal): Promise<void>;
  ensureOpen(signal: AbortSignal): Promise<void>;
  /**
   * Hands the closing command to the link at once: whatever is known, without a read before it or after it. An opening
   * under way is given up (OverruledError). Harmless at any time, and may be repeated every few seconds.
   * Resolves when it is on the wire, which proves nothing.
   * @throws MissingAbilityError, DeviceLostError, RefusedError: it did not go out, or the device said no
   */
  sendClose(signal: AbortSignal): Promise<void>;
}

/** Which of the two it is, and what a rig file may say of it. */
export interface CoverOptions {
  readonly role: "cover" | "diffuser";
  /** Longest time that one way takes [s]. Default 90. */
  readonly travelSecondsMax?: number;
}
