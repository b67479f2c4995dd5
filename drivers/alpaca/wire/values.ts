import * as z from "zod";

/** The kinds of value that replies carry. */
export const number = z.number();
export const whole = z.number().int();
export const flag = z.boolean();
export const text = z.string();
export const texts = z.array(z.string());
export const wholes = z.array(z.number().int());
export const anything = z.unknown();
