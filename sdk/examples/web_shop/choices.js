// What the customer chooses: a form built of the catalogue, kept while the page is loaded again.
// @ts-check
import { element } from "./elements.js";

/** @typedef {import("./described.js").components["schemas"]} Schemas */

const KEPT = "choices";
const MOST_FILMS = 8; // that may be proposed instead
const LARGEST = "largest"; // as the service says it
const HEIGHTS = ["8 mm", "10 mm", "12 mm", "14 mm", "16 mm", "20 mm"];

const lists = {
  language: element("language", HTMLSelectElement), shoe: element("shoe", HTMLSelectElement),
  size: element("size", HTMLSelectElement), height: element("height", HTMLSelectElement),
  font: element("font", HTMLSelectElement), panel: element("panel", HTMLSelectElement),
  film: element("film", HTMLSelectElement), colour: element("colour", HTMLSelectElement),
};
const typed = element("text", HTMLTextAreaElement);

/** @typedef {keyof typeof lists} ListName */

/**
 * Calls back whenever something is chosen or typed; in turn the lists follow from what was chosen.
 * @param {() => void} onChange
 */
export function listen(onChange) {
  element("choices", HTMLFormElement).addEventListener("input", onChange);
  element("choices", HTMLFormElement).addEventListener("submit", (event) => event.preventDefault());
  lists.language.addEventListener("input", onChange);
}

/**
 * Chooses what a proposed order has instead.
 * @param {Schemas["Order"]} proposed
 */
export function take({ placements: [placement] }) {
  if (placement?.artwork.kind !== "text") return;
  const { text, font, letter_height: height } = placement.artwork;
  typed.value = text;
  choose("font", font);
  choose("film", placement.film);
  if (height) choose("height", height);
}

/**
 * Chooses a value, which its list need not have had.
 * @param {ListName} name
 * @param {string} value
 */
function choose(name, value) {
  const list = lists[name];
  if (!Array.from(list.options).some((option) => option.value === value)) list.add(new Option(value, value));
  list.value = value;
}

/**
 * Returns the value that is chosen of a list.
 * @param {ListName} name
 * @returns {string}
 */
export function chosen(name) {
  return lists[name].value;
}

/**
 * Returns the text that is typed.
 * @returns {string}
 */
export function typedText() {
  return typed.value.trim();
}

/** Keeps what is chosen, in this tab alone. */
export function keep() {
  const values = Object.entries(lists).map(([name, { value }]) => [name, value]);
  sessionStorage.setItem(KEPT, JSON.stringify([...values, ["text", typed.value]]));
}

/** Chooses what was chosen before the page was loaded again. */
export function restore() {
  /** @type {[string, string][]} */
  const kept = JSON.parse(sessionStorage.getItem(KEPT) ?? "[]");
  for (const [name, value] of kept) {
    if (name === "text") typed.value = value;
    else if (isList(name) && value !== "") choose(name, value);
  }
}

/**
 * Fills every list from the catalogue, by what is chosen in those before it.
 * @param {Schemas["Catalogue"]} catalogue
 * @param {string} largest - the words for letters as large as fits
 */
export function fillLists(catalogue, largest) {
  fill("shoe", catalogue.shoes);
  const shoe = member(catalogue.shoes, chosen("shoe"));
  const { sizes } = shoe;
  fill("size", named(Array.from({ length: sizes.largest - sizes.smallest + 1 }, (_, index) => String(sizes.smallest + index))));
  fill("panel", shoe.panels);
  const { films } = member(shoe.panels, chosen("panel"));
  fill("film", catalogue.films.filter(({ id }) => films.includes(id)));
  fill("colour", member(catalogue.films, chosen("film")).colours);
  fill("font", catalogue.fonts);
  const heights = named([...new Set([...HEIGHTS, chosen("height")])].filter((height) => !["", LARGEST].includes(height)));
  fill("height", [...heights, { id: LARGEST, name: largest }]);
}

/**
 * Returns the order of what is chosen.
 * @param {Schemas["Catalogue"]} catalogue
 * @returns {Schemas["Order"]}
 */
export function order(catalogue) {
  const { system } = member(catalogue.shoes, chosen("shoe")).sizes;
  /** @type {Schemas["TextArtwork"]} */
  const artwork = {
    kind: "text", text: typedText(), font: chosen("font"), letter_height: chosen("height"), fit_letters: "space",
  };
  const placement = { panel: chosen("panel"), film: chosen("film"), colour: chosen("colour"), artwork };
  return {
    shoe: { kind: "book", shoe: chosen("shoe"), size: { system, value: chosen("size") } }, placements: [placement],
    propose: { films: Array.from(lists.film.options, ({ value }) => value).slice(0, MOST_FILMS) },
  };
}

/**
 * @param {string} name
 * @returns {name is ListName}
 */
function isList(name) {
  return name in lists;
}

/**
 * Fills a list; what was chosen stays chosen while it is there.
 * @param {ListName} name
 * @param {readonly { id: string, name: string }[]} options
 */
function fill(name, options) {
  const before = chosen(name);
  lists[name].replaceChildren(...options.map(({ id, name: shown }) => new Option(shown, id, false, id === before)));
}

/**
 * @param {readonly string[]} ids
 * @returns {{ id: string, name: string }[]}
 */
function named(ids) {
  return ids.map((id) => ({ id, name: id }));
}

/**
 * Returns the member of an id, or the first.
 * @template {{ id: string }} Member
 * @param {readonly Member[]} members
 * @param {string} id
 * @returns {Member}
 */
function member(members, id) {
  const there = members.find((candidate) => candidate.id === id) ?? members[0];
  if (there === undefined) throw new Error("The catalogue has nothing to choose from");
  return there;
}
