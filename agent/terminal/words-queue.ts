/** What takes words off a queue. @returns false when nobody will ever read them; may take as long as it likes */
export type TakeWords = (text: string) => Promise<boolean>;

interface Words {
  readonly text: string;
  readonly canBeMissed: boolean;
}

/** More waiting than this is a terminal that has stopped reading [characters]. */
const waitingMost = 64 * 1024;
/** Of one hand-over, so that a slow reader is seen to go on [characters]. */
const batchMost = 4 * 1024;

/**
 * Words on their way to a terminal, pipe or file that may stop taking them: `say` never waits or throws.
 * While nobody reads, what can be missed is dropped first, then the oldest; how much was
 * dropped is said when reading goes on.
 */
export class WordsQueue {
  #waiting: Words[] = [];
  #waitingCharacters = 0;
  #dropped = 0;
  #isTaking = false;
  #isGone = false;
  readonly #whenEmpty: (() => void)[] = [];

  constructor(private readonly take: TakeWords) {}

  say(text: string, canBeMissed?: "canBeMissed"): void {
    if (this.#isGone || text === "") return;
    this.#waiting.push({ text, canBeMissed: canBeMissed !== undefined });
    this.#waitingCharacters += text.length;
    while (this.#waitingCharacters > waitingMost && this.#waiting.length > 1) this.#drop();
    void this.#handOver();
  }

  /** Resolves when all is taken, or nobody reads any more. */
  emptied(): Promise<void> {
    return new Promise((resolve) => {
      this.#whenEmpty.push(resolve);
      void this.#handOver();
    });
  }

  #drop(): void {
    const missable = this.#waiting.findIndex(({ canBeMissed }) => canBeMissed);
    if (missable < 0) this.#dropped++;
    this.#remove(Math.max(missable, 0));
  }

  #remove(index: number): void {
    const [words] = this.#waiting.splice(index, 1);
    this.#waitingCharacters -= words!.text.length;
  }

  async #handOver(): Promise<void> {
    if (this.#isTaking) return;
    this.#isTaking = true;
    await Promise.resolve(); // what is said in one go is handed over in one
    for (let batch = this.#nextBatch(); batch !== ""; batch = this.#nextBatch()) {
      const isRead = await this.take(batch).catch(() => false);
      if (!isRead) {
        this.#isGone = true;
        this.#waiting = [];
      }
    }
    this.#isTaking = false;
    for (const done of this.#whenEmpty.splice(0)) done();
  }

  #nextBatch(): string {
    let batch = "";
    while (this.#waiting.length > 0 && (batch === "" || batch.length < batchMost)) {
      batch += this.#waiting[0]!.text;
      this.#remove(0);
    }
    if (batch === "" || this.#dropped === 0) return batch;
    const dropped = this.#dropped === 1 ? "1 line was" : `${this.#dropped} lines were`;
    this.#dropped = 0;
    return `(${dropped} left out here: nobody was reading.)\n${batch}`;
  }
}
