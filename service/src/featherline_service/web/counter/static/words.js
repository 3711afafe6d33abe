/** The page's own words: one catalogue a language, and two that are made of English to prove the mechanism. */

const PLAIN = "aeiouycnszAEIOUYCNSZ";
const ACCENTED = "àéîöüýçñšžÀÉÎÖÜÝÇÑŠŽ";

/** Makes longer, accented words of English ones; what stands in braces stays. @param {string} text */
function accented(text) {
  const letters = text.replace(/\{\w+\}|[A-Za-z]/g, (part) => ACCENTED[PLAIN.indexOf(part)] ?? part);
  return `[${letters}${"·".repeat(Math.ceil(text.length / 4))}]`;
}

/** Makes words that run from right to left of English ones. @param {string} text */
function mirrored(text) {
  return text.replace(/\{\w+\}|\S+/g, (part) => (part.startsWith("{") ? part : `\u202e${part}\u202c`));
}

/** @type {Record<string, string>} */
let words = {};
export let language = "en";

/** The languages that may be chosen, with their names in themselves. */
/** @type {Record<string, string>} */
export const LANGUAGES = { en: "English", de: "Deutsch", es: "Español", fr: "Français" };

/** The language for a page: what its address asks for, what was chosen before, or what the browser prefers. */
export function preferred() {
  const asked = new URLSearchParams(location.search).get("lang") ?? sessionStorage.getItem("featherline.language");
  if (asked && (asked in LANGUAGES || asked === "en-XA" || asked === "ar-XB")) return asked;
  const known = navigator.languages.map((tag) => tag.slice(0, 2).toLowerCase()).find((tag) => tag in LANGUAGES);
  return known ?? "en";
}

/** Loads the words of a language, and asks in it from now on. @param {string} tag @returns {Promise<Record<string, string>>} */
export async function load(tag) {
  language = tag;
  return (await fetch(`/counter/words-${tag in LANGUAGES ? tag : "en"}.json`)).json();
}

/** Says the words of the language that was loaded to the document. @param {Record<string, string>} loaded */
export function speak(loaded) {
  const tag = language;
  words = loaded;
  const change = tag === "en-XA" ? accented : tag === "ar-XB" ? mirrored : null;
  if (change) words = Object.fromEntries(Object.entries(words).map(([key, text]) => [key, change(text)]));
  document.documentElement.lang = tag;
  document.documentElement.dir = tag === "ar-XB" ? "rtl" : "ltr";
  for (const part of document.querySelectorAll("[data-w]")) part.textContent = w(part.getAttribute("data-w") ?? "");
}

/** The words of a key, its variables filled in. @param {string} key @param {Record<string, string | number>} [values] */
export function w(key, values = {}) {
  const text = words[key];
  if (text === undefined) throw new Error(`No words for ${key}`);
  return text.replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
}

/** Words that may not be in the catalogue, such as those of codes to come. @param {string} key @param {string} other */
export const wordsOr = (key, other) => words[key] ?? other;

const written = () => (language in LANGUAGES ? language : "en");

/** @param {{ amount: string, currency: string }} sum */
export function money(sum) {
  const digits = (sum.amount.split(".")[1] ?? "").length;
  return new Intl.NumberFormat(written(), {
    style: "currency", currency: sum.currency, minimumFractionDigits: digits, maximumFractionDigits: digits,
  }).format(/** @type {any} */ (sum.amount));
}

/** @param {number} value @param {number} [digits] */
export const number = (value, digits = 1) => new Intl.NumberFormat(written(), { maximumFractionDigits: digits }).format(value);
