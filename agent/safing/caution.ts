/** Said wherever a person could be at the instrument. */
export const cautionText =
  "Never look at the Sun through any instrument or finder without a filter made for it and fitted over the front. " +
  "Never look through the telescope, an eyepiece or an uncapped finder while a program drives it near the Sun. " +
  "Inspect the Sun filter for holes, scratches and a firm seat first; the filter maker's guidance and the rules at the site come before ours.";
