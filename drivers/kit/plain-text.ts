/** Everything that steers a terminal instead of being shown: control characters, and marks of direction, which reorder a line. */
const steering = /[\p{Cc}\p{Bidi_Control}]/gu;
const lineBreaks = /[\t\n\u2028\u2029]/g;

const escapeOne = (character: string) => `\\u${character.charCodeAt(0).toString(16).padStart(4, "0")}`;

/** Text that a terminal shows and does not obey. Line breaks and tabs stay. */
export function escapeSteering(text: string): string {
  return text.replace(steering, (found) => (found === "\n" || found === "\t" ? found : escapeOne(found)));
}

/** What a device or a server says, as one line that can't pass for one of ours. */
export function oneLine(text: string): string {
  return escapeSteering(text).replace(lineBreaks, escapeOne);
}
