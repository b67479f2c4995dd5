import { Random } from "../../drivers/kit/random.ts";

/** 128 bits that stay the same for the same scene and device, written as ids of this length are. */
export function uniqueId(seed: number, type: string, number: number): string {
  const random = new Random(seed).fork(`alpaca ${type} ${number}`);
  const hex = Array.from({ length: 32 }, () => random.whole(0, 15).toString(16)).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
