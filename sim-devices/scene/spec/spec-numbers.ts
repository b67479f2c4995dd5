import * as z from "zod";

export const fraction = z.number().min(0).max(1);
export const positive = z.number().positive();
export const atLeastZero = z.number().min(0);
export const whole = z.number().int();
