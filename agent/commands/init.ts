import { existsSync, writeFileSync } from "node:fs";
import type { Command } from "commander";
import type { FoundDevice, FoundServer } from "../../drivers/protocol.ts";
import { type RoleName, roleNames } from "../../drivers/roles/roles.ts";
import { FileProblemsError } from "../../plans/file-problems.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { addServerOptions, askForServers, type FindCommandOptions } from "./find.ts";
import { initQuestions } from "./init-questions.ts";
import { filledIn, type InitAnswers, leftToFill, rigText } from "./init-rig-text.ts";
import {
  addCommand,
  type CommandHost,
  conclude,
  exitCodes,
  type Outcome,
  processHost,
  wrongInput,
} from "./outcome.ts";
import { assignRoles, isSwitch, rigBlock } from "./rig-block.ts";
import { type Prompts, terminalPrompts } from "./terminal-prompts.ts";

export type InitOptions = FindCommandOptions &
  Partial<Record<(typeof initQuestions)[number]["option"], string>> & {
    /** `cover`, `diffuser`, both with a comma, or `none`. */
    readonly byHand?: string;
  };

const nothing = "Nothing was written.";
const handRoles = ["cover", "diffuser"] as const;

/**
 * `evenfield init`: a rig file from a few answers and from the devices that are found. What states that the Sun filter is safe is
 * left empty: a person has to look at it. @throws CommandError
 */
export async function init(
  file: string,
  options: InitOptions,
  { prompts, host }: { readonly prompts: Prompts | undefined; readonly host: CommandHost },
  signal: AbortSignal,
): Promise<Outcome> {
  if (existsSync(file))
    throw wrongInput(nothing, `${file} is there already.`, "Name another file, or remove it first.");
  checkOptions(options, prompts !== undefined);
  const { servers } = await askForServers(options, host.clock, signal);
  const cameras = servers.flatMap(({ devices }) => devices.filter(({ roles }) => roles.includes("camera")));
  if (cameras.length === 0) {
    const heard =
      servers.length === 0 ? "No device server was found." : "No server that was found has a camera.";
    throw wrongInput(
      nothing,
      heard,
      "Start the rig's INDI or Alpaca servers; those of another computer are asked by name: --indi HOST:PORT, --alpaca HOST:PORT.",
    );
  }
  const answers: Record<string, string> = {};
  for (const { option, question, usual, problem } of initQuestions)
    answers[option] = (options[option] ??
      (await prompts?.text({ message: question, usual, problem }, signal)) ??
      usual)!;
  const assigned = await assignDevices(options, servers, prompts, signal);
  const byHand = handRoles.filter((role) => assigned.get(role) === "by hand");
  const text = rigText({ ...(answers as Omit<InitAnswers, "byHand">), byHand }, rigBlock(servers, assigned));
  checkText(text, file, new Date(host.clock.nowMs()).toISOString().slice(0, 10));
  writeFileSync(file, text, { flag: "wx" });
  return {
    exitCode: exitCodes.done,
    result: { file, rig: answers.name, toFill: leftToFill },
    text: [
      `${file} is written.`,
      `Inspect the Sun filter, then fill in ${leftToFill.map((key) => `\`${key}\``).join(" and ")}; nothing points near the Sun before.`,
      `Then \`evenfield check PLAN --rig ${file}\`, and \`evenfield probe --rig ${file}\` with the devices.`,
    ].join("\n"),
  };
}

/** @throws CommandError for an answer that can't be used, or for those that nobody is there to give */
function checkOptions(options: InitOptions, isAsked: boolean): void {
  for (const { option, flag, problem } of initQuestions) {
    const wrong = options[option] === undefined ? undefined : problem(options[option]);
    if (wrong !== undefined)
      throw wrongInput(nothing, `"${options[option]}" can't be used for ${flag.split(" ")[0]}.`, wrong);
  }
  readByHand(options.byHand);
  const open = initQuestions.filter(
    ({ option, usual }) => options[option] === undefined && usual === undefined,
  );
  if (isAsked || open.length === 0) return;
  throw wrongInput(
    nothing,
    `Nobody is at a terminal to answer: ${open.map(({ flag }) => flag).join(", ")}.`,
    "Give these as options, or start the command at a terminal.",
  );
}

/** @throws CommandError */
function readByHand(text: string | undefined): InitAnswers["byHand"] | undefined {
  if (text === undefined) return undefined;
  const words = text.split(",").map((word) => word.trim());
  const roles = handRoles.filter((role) => words.includes(role));
  if (text === "none" || (roles.length > 0 && roles.length === words.length)) return roles;
  throw wrongInput(
    nothing,
    `"${text}" can't be used for --by-hand.`,
    "Allowed: cover, diffuser, cover,diffuser, none.",
  );
}

/** Where several devices could be one thing a person says which; with nobody there it is the first, and the others stand as comments. */
async function assignDevices(
  options: InitOptions,
  servers: readonly FoundServer[],
  prompts: Prompts | undefined,
  signal: AbortSignal,
): Promise<ReturnType<typeof assignRoles>> {
  const byHand = readByHand(options.byHand);
  const chosen = new Map<RoleName, FoundDevice | "by hand">((byHand ?? []).map((role) => [role, "by hand"]));
  if (!prompts) return assignRoles(servers, chosen);
  const devices = servers.flatMap((server) => server.devices).filter((device) => !isSwitch(device));
  for (const role of roleNames.filter((one) => !chosen.has(one))) {
    const isFree = (device: FoundDevice) => ![...chosen.values()].includes(device);
    const able = devices.filter((device) => device.roles.includes(role) && isFree(device));
    if (able.length < 2) continue;
    const choices = able.map((device) => ({ label: `${device.name} (${device.kind})`, value: device }));
    chosen.set(role, await prompts.one(`Which is the ${role}?`, choices, signal));
  }
  const open = handRoles.filter((role) => !assignRoles(servers, chosen).has(role));
  if (byHand !== undefined || open.length === 0) return assignRoles(servers, chosen);
  const choices = open.map((role) => ({ label: role, value: role }));
  const moved = await prompts.many("Which of these does a person put on and take off?", choices, signal);
  for (const role of moved) chosen.set(role, "by hand");
  return assignRoles(servers, chosen);
}

/** Everything but what is left to fill in. @throws CommandError */
function checkText(text: string, file: string, today: string): void {
  try {
    readRigFile(filledIn(text, today), file);
  } catch (error) {
    if (!(error instanceof FileProblemsError)) throw error;
    throw wrongInput(
      nothing,
      error.message,
      "Name the servers that are meant with --indi and --alpaca.",
      error,
    );
  }
}

export function registerInit(program: Command, host: CommandHost = processHost): void {
  const command = addCommand(program, "init", "evenfield init my-rig.yaml").argument(
    "[file]",
    "where the rig file is written",
    "my-rig.yaml",
  );
  for (const { flag, question } of initQuestions) command.option(flag, question);
  addServerOptions(
    command.option("--by-hand <ROLES>", "what a person moves: cover, diffuser, cover,diffuser or none"),
  ).action((file: string, options: InitOptions & { json?: boolean }) =>
    conclude(host, { command: "init", json: options.json }, async (signal) => {
      using prompts = terminalPrompts();
      return await init(file, options, { prompts, host }, signal);
    }),
  );
}
