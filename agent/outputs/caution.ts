/** Wherever a person could be at the instrument. */
export const cautionText =
  "Never look at the Sun through any instrument or finder without a filter made for it and fitted over the front. " +
  "Nobody's eye belongs at an eyepiece, finder or diagonal while the mount is driven by a program. " +
  "The filter maker's guidance and the local rules come first.";
