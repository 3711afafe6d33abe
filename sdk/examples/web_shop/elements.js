// Elements of the page, typed.
// @ts-check

/**
 * Returns the element of an id.
 * @template {Element} Kind
 * @param {string} id
 * @param {new () => Kind} kind
 * @returns {Kind}
 */
export function element(id, kind) {
  const there = document.getElementById(id);
  if (there instanceof kind) return there;
  throw new Error(`The page has no ${kind.name} "${id}"`);
}

/**
 * Returns a button.
 * @param {string} label
 * @param {() => void} onClick
 * @returns {HTMLButtonElement}
 */
export function button(label, onClick) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = label;
  made.addEventListener("click", onClick);
  return made;
}

/**
 * Writes a message where it is read aloud; the same again is not.
 * @param {HTMLElement} place
 * @param {string} message
 */
export function say(place, message) {
  if (place.textContent !== message) place.textContent = message;
}
