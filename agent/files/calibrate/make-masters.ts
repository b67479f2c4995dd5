import { existsSync, linkSync, mkdirSync, renameSync, rmSync } from "node:fs";
import { dirname, join } from "node:path";
import type { Verdict } from "../../imaging/proof/proof-figure.ts";
import type { Threads } from "../../threads/threads.ts";
import { combineFiles } from "../combine/combine-files.ts";
import { asFailedFile } from "../input-error.ts";
import type { PlannedDark, PlannedMaster } from "./plan-calibration.ts";
import { writeScaledDark } from "./scaled-dark.ts";

export interface MasterRow {
  /** Below the results' folder, or the file of the folder that serves as it is. */
  readonly name: string;
  readonly path: string;
  readonly kind: "flat" | "dark" | "bias";
  readonly ended: "written" | "done before" | "as it was" | "failed";
  readonly frameCount: number;
  readonly levelAdu?: number | undefined;
  readonly noiseAdu?: number | undefined;
  readonly maskedPx?: number;
  /** Of flats. */
  readonly verdict?: Verdict;
  readonly reasons?: readonly string[];
  readonly why: string;
  readonly warnings: readonly string[];
}

export interface MasterTools {
  readonly outputFolder: string;
  readonly writtenUtcMs: number;
  readonly threads?: Threads;
  readonly signal?: AbortSignal;
  /** What the figures of a flat say; left out where another process judges it. @throws InputError */
  judge?(file: string): { readonly verdict: Verdict; readonly reasons: readonly string[] };
  /** Tells what this process writes from what another one does at the same time. */
  readonly processName: string;
}

/** Makes masters when they are needed, each once. */
export class MasterMaker {
  readonly rows: MasterRow[] = [];
  readonly #made = new Map<string, MasterRow>();

  constructor(private readonly tools: MasterTools) {}

  /** The file of a master; `undefined` if it could not be made, which its row tells. @throws the signal's reason */
  async fileOf(master: PlannedMaster): Promise<string | undefined> {
    if (master.isThere) return this.#asItWas(master);
    return this.#once(master.name, master.kind, async (output) => {
      const darkFile = master.dark && (await this.darkFileOf(master.dark));
      if (master.dark && darkFile === undefined) throw new MissingDark();
      const { writtenUtcMs, threads, signal } = this.tools;
      const combineTools = { writtenUtcMs, ...(threads && { threads }), ...(signal && { signal }) };
      const made = await combineFiles(
        {
          files: master.group.files.map(({ path }) => path),
          output,
          ...(darkFile === undefined ? {} : { darkFile }),
          kind: master.kind,
          replace: true,
          ...combineTools,
        },
        () => {},
      );
      const { frameCount, levelAdu, noiseAdu, maskedPx, warnings } = made;
      return { frameCount, levelAdu, noiseAdu, maskedPx, warnings, why: master.dark?.why ?? "" };
    });
  }

  /** The same of a dark, scaled where it has to be. */
  async darkFileOf(dark: PlannedDark): Promise<string | undefined> {
    const file = await this.fileOf(dark.master);
    const { scaled } = dark;
    if (scaled === undefined || file === undefined) return file;
    const biasFile = await this.fileOf(scaled.bias);
    if (biasFile === undefined) return undefined;
    return this.#once(scaled.name, "dark", async (output) => {
      const { exposureSeconds } = scaled;
      const { writtenUtcMs } = this.tools;
      writeScaledDark({ darkFile: file, biasFile, exposureSeconds, output, writtenUtcMs });
      return { frameCount: 0, why: dark.why, warnings: [] };
    });
  }

  #asItWas({ kind, name, group: { first } }: PlannedMaster): string {
    if (!this.#made.has(name))
      this.#add({
        ...{
          name,
          path: first.path,
          kind,
          ended: "as it was",
          frameCount: first.header.number("NCOMBINE") ?? 1,
        },
        ...{ why: first.kindWhy, warnings: [] },
      });
    return first.path;
  }

  async #once(
    name: string,
    kind: MasterRow["kind"],
    make: (output: string) => Promise<Omit<MasterRow, "name" | "path" | "kind" | "ended">>,
  ): Promise<string | undefined> {
    const path = join(this.tools.outputFolder, "masters", name);
    const before = this.#made.get(name);
    if (before) return before.ended === "failed" ? undefined : path;
    const row = { name: `masters/${name}`, path, kind };
    if (existsSync(path)) {
      this.#add({ ...row, ended: "done before", frameCount: 0, why: "", warnings: [] }, name);
      return path;
    }
    mkdirSync(dirname(path), { recursive: true });
    // Shares of the work may make one master at the same time: each under its own name, and the first gives it.
    const own = `${path}.${this.tools.processName}`;
    try {
      const made = await make(own);
      giveName(own, path);
      this.#add({ ...row, ended: "written", ...made }, name);
      return path;
    } catch (error) {
      const why = error instanceof MissingDark ? "its dark could not be made" : failureText(error, path);
      this.#add({ ...row, ended: "failed", frameCount: 0, why, warnings: [] }, name);
      return undefined;
    } finally {
      rmSync(own, { force: true });
    }
  }

  #add(row: MasterRow, name = row.name): void {
    const isThere = row.kind === "flat" && row.ended !== "failed";
    const said = isThere ? this.tools.judge?.(row.path) : undefined;
    const judged = said ? { ...row, verdict: said.verdict, reasons: said.reasons } : row;
    this.#made.set(name, judged);
    this.rows.push(judged);
  }
}

class MissingDark extends Error {}

/** Another process may have made the same meanwhile: then theirs stays. */
function giveName(own: string, path: string): void {
  try {
    linkSync(own, path);
  } catch (error) {
    if (existsSync(path)) return;
    if ((error as NodeJS.ErrnoException).code === "EEXIST") return;
    renameSync(own, path); // file systems without hard links
  }
}

/** @throws what is no trouble with files */
function failureText(error: unknown, path: string): string {
  const { happened, whatToDo } = asFailedFile(error, path);
  return `${happened} ${whatToDo}`;
}
