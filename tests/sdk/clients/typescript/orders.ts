// What both programs need: two orders, typed by the client, and the answers that have to be there.
export interface Texts {
  shoe: string;
  size: string;
  panel: string;
  colour: string;
  text: string;
  font: string;
  height: string;
}

export const DECK: Texts = {
  shoe: "regatta-deck", size: "42", panel: "outer-quarter", colour: "gorse",
  text: "MARLOW\n7", font: "plain", height: "22 mm",
};
export const CLOG: Texts = {
  shoe: "ward-clog", size: "40", panel: "outer-side", colour: "chalk", text: "W3", font: "bold", height: "12 mm",
};

export function present<Value>(value: Value | null | undefined): Value {
  if (value === null || value === undefined) throw new Error("An answer lacks what it should have");
  return value;
}

// A quote has other forms, pages and files, which are texts here; none was asked for.
export function structured<Value>(value: Value | null | undefined): Exclude<Value, string> {
  const read = present(value);
  if (typeof read === "string") throw new Error("A text came where JSON was asked for");
  return read as Exclude<Value, string>;
}
