// The basket: lines of an order and its seal, and what the shop's server says at the checkout.
// @ts-check
import { button, element, say } from "./elements.js";
import { price, text } from "./texts.js";

/** @typedef {import("./described.js").components["schemas"]} Schemas */
/** @typedef {import("./texts.js").Language} Language */
/** @typedef {{ order: Schemas["Order"], seal: string }} CartLine */
/** @typedef {{ lines: (Schemas["Money"] | null)[], total: Schemas["Money"] | null }} Paid */

const entries = element("lines", HTMLUListElement);
const buy = element("buy", HTMLButtonElement);
const paid = element("paid", HTMLElement);

/** @type {CartLine[]} */
let lines = [];

/**
 * Puts a line into the basket.
 * @param {Language} language
 * @param {CartLine} line
 * @param {string} cost
 * @param {string | null} image - the address of its picture
 */
export function put(language, line, cost, image) {
  lines.push(line);
  const entry = document.createElement("li");
  const remove = button(text(language, "remove", { text: marked(line) }), () => {
    lines = lines.filter((other) => other !== line);
    entry.remove();
    buy.disabled = lines.length === 0;
    element("text", HTMLInputElement).focus();
  });
  if (image !== null) entry.append(Object.assign(new Image(), { src: image, alt: "" }));
  entry.append(text(language, "added", { text: marked(line), price: cost }), " ", remove);
  entries.append(entry);
  buy.disabled = false;
  say(paid, "");
}

/**
 * Has the shop's server check the basket; says what is paid, or which lines need a new offer.
 * @param {Language} language
 */
export async function checkOut(language) {
  const response = await fetch("checkout", { method: "POST", body: JSON.stringify(lines) }).catch(() => null);
  if (response === null || !response.ok) return say(paid, text(language, "unpaid"));
  /** @type {Paid} */
  const answer = await response.json();
  const anew = lines.filter((_, index) => answer.lines[index] === null);
  if (answer.total === null) {
    say(paid, anew.map((line) => text(language, "anew", { text: marked(line) })).join(" "));
  } else {
    say(paid, text(language, "paid", { price: price(language, answer.total) }));
  }
}

/**
 * @param {CartLine} line
 * @returns {string}
 */
function marked({ order }) {
  const artwork = order.placements[0]?.artwork;
  return artwork?.kind === "text" ? artwork.text : "";
}
