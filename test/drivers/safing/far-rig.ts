import type { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import type { Camera } from "../../../drivers/roles/camera.ts";
import type { Cover } from "../../../drivers/roles/cover.ts";
import type { Mount } from "../../../drivers/roles/mount.ts";

export interface Sent {
  readonly what: string;
  readonly atSeconds: number;
}

/** An open cover, a mount and a camera over one protocol, and what reached them. */
export interface FarRig {
  readonly cover: Cover;
  readonly mount: Mount;
  readonly camera: Camera;
  readonly clock: VirtualClock;
  readonly signal: AbortSignal;
  /** Every command as it arrived. */
  sent(): readonly Sent[];
  /** What the log was warned of. */
  readonly warnings: readonly string[];
  /** From now on every answer takes so long. */
  slow(seconds: number): void;
  /** The cover says that it moves for ever, whatever it is told. */
  coverMovesForEver(): void;
  /** Somebody else opens the cover; it shows as the protocol has it. */
  openCoverFromElsewhere(): void;
  /** Somebody else sends the mount off; likewise. */
  slewFromElsewhere(): void;
  /** The link breaks; it can be opened again after so long, or never. */
  cut(forSeconds?: number): void;
}

export interface FarRigQuirks {
  /** The mount has neither a stop nor a command for tracking, the camera no abort. */
  readonly poor?: boolean;
  /** The mount says for ever that it moves, once it has. */
  readonly mountMovesForEver?: boolean;
}

export type OnFarRig = (body: (far: FarRig) => Promise<void>, quirks?: FarRigQuirks) => Promise<void>;

export const coverName = "Flap";
