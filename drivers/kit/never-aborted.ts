/** For work that nothing may cut short, such as making a rig safe: the signal of a controller that nobody has. */
export const neverAborted: AbortSignal = new AbortController().signal;
