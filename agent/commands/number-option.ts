import { InvalidArgumentError } from "commander";

/** Reads the number of an option. @param wanted what the person is told of any other */
export function numberOption(wanted: string, isFit: (value: number) => boolean): (text: string) => number {
  return (text) => {
    const value = Number(text);
    if (isFit(value)) return value;
    throw new InvalidArgumentError(wanted);
  };
}
