import { type Alias, isMap, isScalar, LineCounter, type Node, type Pair, parseDocument, visit } from "yaml";

/** Far more than anybody writes [characters]; what is larger is some other file. */
const lengthMax = 1_000_000;

/** A YAML text as plain data, with the line of every key and value in it. */
export interface YamlSource {
  readonly data: unknown;
  /** Line of the value at that path, or of the nearest part of the path that is there; from 1. */
  lineOf(path: readonly PropertyKey[]): number;
  /** Line of a key itself, for keys that should not be there. */
  lineOfKey(path: readonly PropertyKey[], key: string): number;
  readonly syntaxErrors: readonly { readonly line: number; readonly message: string }[];
}

function keyPair(node: unknown, key: PropertyKey): Pair | undefined {
  if (!isMap(node)) return undefined;
  return node.items.find((pair) => isScalar(pair.key) && String(pair.key.value) === String(key));
}

export function readYaml(text: string): YamlSource {
  if (text.length > lengthMax) {
    const message = `it is ${text.length} characters long, and no file of this kind has more than ${lengthMax}`;
    return { data: undefined, lineOf: () => 1, lineOfKey: () => 1, syntaxErrors: [{ line: 1, message }] };
  }
  const lines = new LineCounter();
  const document = parseDocument(text, { lineCounter: lines, prettyErrors: false, uniqueKeys: true });
  const startLine = (node: unknown): number | undefined => {
    const range = (node as Node | null | undefined)?.range;
    return range ? lines.linePos(range[0]).line : undefined;
  };
  /** The line of a value is that of its key: a reader looks for the key. */
  const lineOf = (path: readonly PropertyKey[]): number => {
    let node: unknown = document.contents;
    let line = startLine(node) ?? 1;
    for (const part of path) {
      const pair = keyPair(node, part);
      const next = pair ? pair.value : document.contents && isCollectionItem(node, part);
      const nextLine = startLine(pair?.key) ?? startLine(next);
      if (nextLine === undefined) break;
      line = nextLine;
      node = next;
    }
    return line;
  };
  const syntaxErrors = document.errors.map((error) => ({
    line: lines.linePos(error.pos[0]).line,
    message: error.message.split("\n")[0]!,
  }));
  const alias = firstAlias(document);
  if (alias) {
    const line = startLine(alias) ?? 1;
    syntaxErrors.push({ line, message: `\`*${alias.source}\` repeats another part; write it out instead` });
  }
  return {
    data: syntaxErrors.length > 0 ? undefined : document.toJS(),
    lineOf,
    lineOfKey: (path, key) => lineOf([...path, key]),
    syntaxErrors,
  };
}

/** A few of them within each other stand for more than any memory holds, or for themselves. */
function firstAlias(document: ReturnType<typeof parseDocument>): Alias | undefined {
  let found: Alias | undefined;
  visit(document, {
    Alias(_, alias) {
      found = alias;
      return visit.BREAK;
    },
  });
  return found;
}

function isCollectionItem(node: unknown, index: PropertyKey): unknown {
  const items = (node as { items?: unknown[] } | null)?.items;
  return typeof index === "number" ? items?.[index] : undefined;
}
