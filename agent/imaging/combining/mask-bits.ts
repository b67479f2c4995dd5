/** What the bits of a master's MASK mean; 0 is a pixel to be trusted. */
export const maskBits = {
  /** Hot, dead, stuck or unsteady. */
  unhealthy: 1,
  /** Clipped in more than one frame in fifty. */
  clipped: 2,
  /** Not lit: outside the illuminated field. */
  unlit: 4,
  /** Rejected in most frames. */
  rejected: 8,
} as const;
