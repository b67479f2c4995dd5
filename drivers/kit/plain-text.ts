/** Everything that steers a terminal instead of being shown: C0, C1, DEL; marks of direction, which reorder a line. */
// biome-ignore lint/suspicious/noControlCharactersInRegex: these are what is looked for
const steering = /[\u0000-\u0008\u000b-\u001f\u007f-\u009f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]/g;
const lineBreaks = /[\t\n\u2028\u2029]/g;

const escaped = (character: string) => `\\u${character.charCodeAt(0).toString(16).padStart(4, "0")}`;

/** Text that a terminal shows and does not obey. Line breaks and tabs stay. */
export function escapeSteering(text: string): string {
  return text.replace(steering, escaped);
}

/** What a device or a server says, as one line that can't pass for one of ours. */
export function oneLine(text: string): string {
  return escapeSteering(text).replace(lineBreaks, escaped);
}
