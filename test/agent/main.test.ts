import { join } from "node:path";
import { expect, test } from "vitest";
import { commandList } from "../../agent/commands/command-list.ts";

const program = join(import.meta.dirname, "../../agent/main.ts");

function evenfield(...args: string[]): { exitCode: number; stdout: string; stderr: string } {
  const { exitCode, stdout, stderr } = Bun.spawnSync([process.execPath, program, ...args]);
  return { exitCode, stdout: stdout.toString(), stderr: stderr.toString() };
}

test("--help lists all commands, in order", () => {
  const { exitCode, stdout } = evenfield("--help");
  const listed = [...stdout.split("Commands:")[1]!.matchAll(/^ {2}(\w+)/gm)].map(([, name]) => name);
  expect({ exitCode, listed }).toEqual({ exitCode: 0, listed: [...Object.keys(commandList), "help"] });
});

test("help of a command is its own --help", () => {
  const help = evenfield("help", "sun").stdout;
  expect(help).toContain(commandList.sun);
  expect(help).toContain("--site");
  expect(evenfield("sun", "--help").stdout).toBe(help);
});

test("a mistyped command is not carried out, and the likely one named", () => {
  const { exitCode, stderr } = evenfield("combin", "a.fits");
  expect(exitCode).toBe(2);
  expect(stderr).toContain("Did you mean combine?");
});
