/** Elements of the page, made by hand: no text of anybody becomes markup. */

/**
 * @typedef {Record<string, any>} Properties
 * @typedef {Node | string | null | undefined | false} Child
 */

/**
 * Makes an element. Properties that begin with "on" are listeners; the others are attributes, left out where they are
 * null or false.
 * @param {string} tag @param {Properties} [properties] @param {...(Child | Child[])} children
 * @returns {any}
 */
export function h(tag, properties = {}, ...children) {
  const drawn = tag === "svg" || tag === "path";
  const element = drawn ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked") /** @type {any} */ (element)[name] = value;
    else if (value === true) element.setAttribute(name, "");
    else if (value !== null && value !== undefined && value !== false) element.setAttribute(name, String(value));
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

/** @param {string} id @returns {any} */
export const $ = (id) => {
  const element = document.getElementById(id);
  if (!element) throw new Error(`The page has no ${id}`);
  return element;
};

/** Replaces what is in an element; the focus stays where it was, and open what was opened. @param {Element} into @param {Child[]} children */
export function fill(into, children) {
  const active = document.activeElement;
  const id = active && into.contains(active) ? active.id : "";
  const opened = [...into.querySelectorAll("details[open]")].map((details) => details.id);
  into.replaceChildren(.../** @type {(Node | string)[]} */ (children.filter(Boolean)));
  for (const details of opened) document.getElementById(details)?.setAttribute("open", "");
  if (id) document.getElementById(id)?.focus();
}

/**
 * A labelled field, with the place of what it says in the request, so that a fault finds it.
 * @param {string} id @param {string} label @param {any} input @param {{ at?: string, unit?: string, wide?: boolean, help?: string }} [more]
 */
export function field(id, label, input, more = {}) {
  input.id = id;
  if (more.at !== undefined) input.setAttribute("data-at", more.at);
  const describedBy = [more.help && `${id}-help`, `${id}-wrong`].filter(Boolean).join(" ");
  input.setAttribute("aria-describedby", describedBy);
  return h(
    "div",
    { class: `field${more.wide ? " across" : ""}` },
    h("label", { for: id }, label, more.unit ? h("span", { class: "soft" }, ` [${more.unit}]`) : ""),
    input,
    more.help && h("p", { id: `${id}-help`, class: "help" }, more.help),
    h("p", { id: `${id}-wrong`, class: "wrong" }),
  );
}

/**
 * @param {string} value @param {[string, string][]} options @param {(value: string) => void} changed
 * @param {Properties} [more]
 */
export const choice = (value, options, changed, more = {}) =>
  h(
    "select",
    { ...more, onchange: (/** @type {any} */ event) => changed(event.target.value) },
    options.map(([key, name]) => h("option", { value: key, selected: key === value }, name)),
  );

/** @param {string} value @param {(value: string) => void} changed @param {Properties} [more] */
export const text = (value, changed, more = {}) =>
  h("input", { type: "text", value, spellcheck: "false", ...more, oninput: (/** @type {any} */ event) => changed(event.target.value) });

/** A field for a number as people write it, also with a comma. @param {string} value @param {(value: string) => void} changed */
export const digits = (value, changed) => text(value, changed, { inputmode: "decimal", size: "6" });

/**
 * @param {string} id @param {string} label @param {boolean} value @param {(value: boolean) => void} changed
 * @param {Properties} [more]
 */
export const tick = (id, label, value, changed, more = {}) =>
  h(
    "label",
    { class: "tick", for: id },
    h("input", { type: "checkbox", id, checked: value, ...more, onchange: (/** @type {any} */ event) => changed(event.target.checked) }),
    h("span", {}, label),
  );

/**
 * Radio buttons for one question.
 * @param {string} name @param {string} legend @param {string} value
 * @param {[string, Child | Child[]][]} options @param {(value: string) => void} changed @param {string} [kind]
 */
export const radios = (name, legend, value, options, changed, kind = "") =>
  h(
    "fieldset",
    { class: `radios across ${kind}` },
    h("legend", {}, legend),
    options.map(([key, shown]) =>
      h(
        "label",
        { for: `${name}-${key}` },
        h("input", { type: "radio", id: `${name}-${key}`, name, value: key, checked: key === value, onchange: () => changed(key) }),
        h("span", {}, ...[shown].flat()),
      ),
    ),
  );

/** @param {string} label @param {() => void} act @param {Properties} [more] */
export const button = (label, act, more = {}) => h("button", { type: "button", ...more, onclick: act }, label);

/** A button that takes a file, for whoever does not drop it. @param {string} id @param {string} label @param {string} types @param {(file: File) => void} take */
export const opener = (id, label, types, take) =>
  h(
    "div",
    { class: "field across" },
    h("label", { for: id }, label),
    h("input", { type: "file", id, accept: types, onchange: (/** @type {any} */ event) => event.target.files[0] && take(event.target.files[0]) }),
  );
