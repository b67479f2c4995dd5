/** A fault of ours: something was about to change a rig before its baseline was on disk. Nothing was sent. */
export class SealedRigError extends Error {
  override readonly name = "SealedRigError";
  constructor(device: string, command: string) {
    super(`${device}: ${command} before the rig's baseline is on disk`);
  }
}

/**
 * Keeps a rig as it was found: while it is closed the wire takes no command but connecting, and what only asks.
 * One for all servers of a rig; whoever has written the baseline down opens it.
 */
export class RigSeal {
  #isOpen = false;

  open(): void {
    this.#isOpen = true;
  }

  /** @throws SealedRigError */
  check(device: string, command: string): void {
    if (!this.#isOpen) throw new SealedRigError(device, command);
  }
}
