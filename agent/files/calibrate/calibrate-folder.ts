import { dirname, join } from "node:path";
import type { Threads } from "../../threads/threads.ts";
import { type AppliedFile, applyFlat } from "../apply/apply-flat.ts";
import type { Despites } from "../apply/refusals.ts";
import { hearStop } from "../hear-stop.ts";
import { asFailedFile, type FailedFile, InputError } from "../input-error.ts";
import { type FileFacts, readFileFacts } from "./file-facts.ts";
import { picturesUnder } from "./folder-files.ts";
import { MasterMaker, type MasterRow, type MasterTools } from "./make-masters.ts";
import { type CalibrationPlan, type PlannedImages, planCalibration } from "./plan-calibration.ts";
import { type Part, shareImages } from "./share-work.ts";

export interface CalibrateRequest {
  readonly folder: string;
  /** Made if it is not there: `masters` and `images` below it. Nothing in it is written over. */
  readonly outputFolder: string;
  /** Says what would be done, and does nothing. */
  readonly dryRun: boolean;
  readonly part?: Part;
  readonly as?: "float32" | "uint16";
  readonly despite: Despites;
  readonly writtenUtcMs: number;
  readonly processName: string;
  readonly threads?: Threads;
  readonly signal?: AbortSignal;
}

/** What became of a file of the folder. */
export interface FileRow {
  readonly facts: FileFacts;
  readonly usedFor: string;
  readonly flat?: string;
  readonly dark?: string;
  readonly why: string;
  readonly ended: "written" | "done before" | "used" | "left out" | "planned" | "in another part";
  /** The calibrated image. */
  readonly result?: string;
}

export interface CalibrateResult {
  readonly files: readonly FileRow[];
  readonly masters: readonly MasterRow[];
  /** Files that can't be read. */
  readonly failed: readonly FailedFile[];
  readonly warnings: readonly string[];
}

export interface CalibrateTools {
  /** What is done, and how much of it. */
  onProgress(what: "looking at files" | "dividing images", done: number, of: number): void;
  readonly judge: NonNullable<MasterTools["judge"]>;
  /** @throws InputError if the flat's dust lies elsewhere than that of the images */
  checkFit(images: readonly string[], flat: string, dark: string | undefined): Promise<void>;
}

/**
 * The whole job on a folder: sorts its files, makes masters with `combineFiles`, divides images with `applyFlat`. Started again it goes
 * on where it was.
 * @throws InputError if the folder can't be read, and the signal's reason
 */
export async function calibrateFolder(
  request: CalibrateRequest,
  tools: CalibrateTools,
): Promise<CalibrateResult> {
  const { facts, failed } = await readFacts(request, tools);
  const plan = planCalibration(facts, { withoutDark: request.despite.has("dark") });
  const share = shareImages(plan, request.part);
  const work = new FolderWork(request, tools, plan);
  if (!request.dryRun) await work.carryOut(share);
  return {
    files: facts.map((file) => work.rowOf(file, share)),
    masters: work.masters,
    failed,
    warnings: work.warnings,
  };
}

async function readFacts(
  request: CalibrateRequest,
  tools: CalibrateTools,
): Promise<{ facts: FileFacts[]; failed: FailedFile[] }> {
  const { folder } = request;
  const names = picturesUnder(folder, request.outputFolder);
  if (names.length === 0)
    throw new InputError(`${folder} holds no FITS or SER file.`, "Name the folder that your files are in.");
  const facts: FileFacts[] = [];
  const failed: FailedFile[] = [];
  for (const [index, name] of names.entries()) {
    await hearStop(request.signal);
    try {
      facts.push(readFileFacts(folder, name));
    } catch (error) {
      failed.push(asFailedFile(error, join(folder, name)));
    }
    tools.onProgress("looking at files", index + 1, names.length);
  }
  return { facts, failed };
}

class FolderWork {
  readonly #rows = new Map<FileFacts, FileRow>();
  readonly #warnings = new Set<string>();
  readonly #maker: MasterMaker;
  #done = 0;
  #of = 0;

  constructor(
    private readonly request: CalibrateRequest,
    private readonly tools: CalibrateTools,
    private readonly plan: CalibrationPlan,
  ) {
    // A share leaves the judging of flats to the run that writes the page of the whole.
    this.#maker = new MasterMaker(request.part ? request : { ...request, judge: tools.judge });
  }

  get masters(): readonly MasterRow[] {
    return this.#maker.rows;
  }

  get warnings(): readonly string[] {
    return [...this.#warnings, ...this.masters.flatMap(({ warnings }) => warnings)];
  }

  /** @throws the signal's reason */
  async carryOut(share: readonly PlannedImages[]): Promise<void> {
    this.#of = share.reduce((sum, { files }) => sum + files.length, 0);
    for (const group of share) {
      await hearStop(this.request.signal);
      const flatFile = await this.#maker.fileOf(group.flat);
      const darkFile = group.dark && (await this.#maker.darkFileOf(group.dark));
      if (flatFile === undefined || (group.dark && darkFile === undefined)) {
        const missing = flatFile === undefined ? group.flat.name : group.dark!.master.name;
        const why = this.masters.find(({ name }) => name.endsWith(missing))?.why;
        this.#leaveOut(group.files, `${missing} could not be made: ${why ?? "see the masters"}`);
      } else await this.#divide(group, flatFile, darkFile);
    }
    if (this.request.part === undefined) await this.#makeUnused();
  }

  /** Masters that no image needs are made too: who took the frames wants them. */
  async #makeUnused(): Promise<void> {
    for (const master of [...this.plan.biases, ...this.plan.darks, ...this.plan.flats]) {
      await hearStop(this.request.signal);
      await this.#maker.fileOf(master);
    }
  }

  async #divide(group: PlannedImages, flatFile: string, darkFile: string | undefined): Promise<void> {
    const { request } = this;
    const paths = group.files.map(({ path }) => path);
    try {
      if (!request.despite.has("move")) await this.tools.checkFit(paths, flatFile, darkFile);
    } catch (error) {
      const { happened, whatToDo } = asFailedFile(error, flatFile);
      this.#leaveOut(group.files, `${happened} ${whatToDo}`);
      return;
    }
    for (const [below, files] of byFolder(group.files)) {
      const outputFolder = join(request.outputFolder, "images", below);
      const byPath = new Map(files.map((file) => [file.path, file]));
      const onFile = (one: AppliedFile | FailedFile) => {
        const file = byPath.get(one.file)!;
        const used = {
          usedFor: "an image",
          flat: flatFile,
          ...(darkFile === undefined ? {} : { dark: darkFile }),
        };
        if ("ended" in one) {
          for (const warning of one.warnings) this.#warnings.add(warning);
          this.#set(file, { ...used, why: group.why, ended: one.ended, result: one.output });
        } else this.#set(file, { ...used, why: `${one.happened} ${one.whatToDo}`, ended: "left out" });
        this.tools.onProgress("dividing images", ++this.#done, this.#of);
      };
      const { as, despite, writtenUtcMs, signal } = request;
      try {
        await applyFlat(
          {
            ...{
              flatFile,
              files: files.map(({ path }) => path),
              outputFolder,
              replace: false,
              despite,
              writtenUtcMs,
            },
            ...(darkFile === undefined ? {} : { darkFile }),
            ...(as === undefined ? {} : { as }),
            ...(signal === undefined ? {} : { signal }),
          },
          onFile,
        );
      } catch (error) {
        const { happened, whatToDo } = asFailedFile(error, flatFile);
        this.#leaveOut(files, `${happened} ${whatToDo}`);
      }
    }
  }

  /** What became of a file, or would. */
  rowOf(file: FileFacts, share: readonly PlannedImages[]): FileRow {
    const row = this.#rows.get(file);
    if (row) return row;
    const ended = this.request.dryRun ? "planned" : "used";
    const leftOut = this.plan.leftOut.find((one) => one.file === file);
    if (leftOut) return { facts: file, usedFor: "nothing", why: leftOut.why, ended: "left out" };
    const group = this.plan.images.find(({ files }) => files.includes(file));
    if (group) {
      const isOurs = share.some(({ files }) => files.includes(file));
      const dark = group.dark?.scaled?.name ?? group.dark?.master.name;
      return {
        ...{ facts: file, usedFor: "an image", flat: group.flat.name, why: group.why },
        ...(dark === undefined ? {} : { dark }),
        ended: isOurs ? "planned" : "in another part",
      };
    }
    for (const kind of ["biases", "darks", "flats"] as const)
      for (const master of this.plan[kind])
        if (master.group.files.includes(file)) {
          const usedFor = master.isThere ? "a master as it is" : `masters/${master.name}`;
          const why = [file.kindWhy, ...(master.dark ? [master.dark.why] : [])].join("; ");
          return { facts: file, usedFor, why, ended };
        }
    return { facts: file, usedFor: "nothing", why: file.kindWhy, ended: "left out" };
  }

  #leaveOut(files: readonly FileFacts[], why: string): void {
    for (const file of files) {
      if (this.#rows.has(file)) continue;
      this.#set(file, { usedFor: "nothing", why, ended: "left out" });
      this.tools.onProgress("dividing images", ++this.#done, this.#of);
    }
  }

  #set(file: FileFacts, row: Omit<FileRow, "facts">): void {
    this.#rows.set(file, { facts: file, ...row });
  }
}

/** Files by the folder that they lie in, relative to the whole. */
function byFolder(files: readonly FileFacts[]): Map<string, FileFacts[]> {
  const folders = new Map<string, FileFacts[]>();
  for (const file of files) {
    const below = dirname(file.name);
    folders.set(below, [...(folders.get(below) ?? []), file]);
  }
  return folders;
}
