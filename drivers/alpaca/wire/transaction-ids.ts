const uint32Max = 0xffff_ffff;

/** The numbers that name a client and each of its requests. 0 means "none" in the protocol and is never given. */
export class TransactionIds {
  /** Chosen once: 1 to 65535. */
  readonly clientId: number;
  #last: number;

  constructor(clientId: number, last = 0) {
    this.clientId = clientId;
    this.#last = last;
  }

  /** One more each time, a repeated request included; after the last of 32 bits comes 1. */
  next(): number {
    this.#last = this.#last >= uint32Max ? 1 : this.#last + 1;
    return this.#last;
  }
}
