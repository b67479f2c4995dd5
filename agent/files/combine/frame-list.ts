import { basename } from "node:path";

/** Names of frames, those in a row of one sequence together. @param paths as `frameName` calls them */
export function frameList(paths: readonly string[]): string[] {
  const runs: { file: string; first?: number; last?: number }[] = [];
  for (const path of paths) {
    const [, file, number] = /^(.*) frame (\d+)$/.exec(path) ?? [undefined, path, undefined];
    const index = number === undefined ? undefined : Number(number);
    const run = runs.at(-1);
    if (run?.file === file && index !== undefined && run.last === index - 1) run.last = index;
    else runs.push(index === undefined ? { file: file! } : { file: file!, first: index, last: index });
  }
  return runs.map(({ file, first, last }) => {
    const name = basename(file);
    if (first === undefined) return name;
    return first === last ? `${name}, frame ${first}` : `${name}, frames ${first} to ${last}`;
  });
}
