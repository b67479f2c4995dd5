/** Somebody outside this process who makes the rig safe when this process is gone or silent. */
export interface RigKeeper {
  /** As a person knows it. */
  readonly name: string;
  /** Asks it to watch, once how the rig was found is on disk. Never throws: `whyNotAlive` says what came of it. */
  begin(): Promise<void>;
  /** Why nobody would make the rig safe; `undefined` while it watches. */
  whyNotAlive(): string | undefined;
  /** The end of the run: where the rig is not safe, the keeper takes it over. */
  release(how: "safe" | "not safe"): Promise<void>;
}
