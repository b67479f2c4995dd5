/** What the process says to its caller; the words are those of the manual. */
export const exitCodes = {
  /** Done, verdict `good` or `usable`. */
  done: 0,
  /** A fault of ours. */
  fault: 1,
  /** Wrong command, plan or rig file. */
  wrongInput: 2,
  /** Done, verdict `bad`. */
  verdictBad: 3,
  /** Refused or retreated for safety. */
  safety: 4,
  /** A device or the disk failed, the rig is restored. */
  deviceFailed: 5,
  /** The rig could not be fully restored. */
  notRestored: 6,
  /** It came to nothing: no Sun found, a leak, too few good frames; the rig is restored. */
  nothingMade: 7,
  /** Stopped by the operator, the rig is restored; the number that shells use after Ctrl-C. */
  stopped: 130,
} as const;

export type ExitCode = (typeof exitCodes)[keyof typeof exitCodes];
