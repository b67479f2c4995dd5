/** Whether listed values are compared that take minutes, as `npm run campaign listed` does. */
export const isWholeList = process.env.EVENFIELD_WHOLE_LIST === "yes";
