/** The second act: what is to be marked, in which film and where; and how many pairs of whom. */

import { $, button, choice, digits, field, fill, h, opener, radios, text, tick } from "./elements.js";
import { changeFilm, freshMark, state } from "./order.js";
import { bookShoe, named, nameOf } from "./shoe.js";
import { w } from "./words.js";

/** @typedef {import("./shoe.js").Page} Page @typedef {import("./order.js").Mark} Mark */

const SIDES = ["both", "left", "right"];
const POSES = ["centred", "at", "searched"];

/** The panels of the shoe, with what the page needs to know of them. @param {Page} page @returns {any[]} */
export function panels(page) {
  if (state.kind === "book") return bookShoe(page).panels;
  return state.measured.panels.map((panel) => ({
    id: panel.panel, name: nameOf(panel.panel), films: null, colour: panel.colour,
    outline: "", width_mm: Number(panel.width) || 80, height_mm: Number(panel.height) || 40,
  }));
}

/** Gives marks what they cannot be without: a panel, a film and a colour that there are, a font. @param {Page} page */
export function complete(page) {
  const { shoes, films, fonts } = page.catalogue;
  if (!bookShoe(page)) {
    state.book.shoe = shoes[0].id;
    state.book.system = shoes[0].sizes.system;
  }
  state.book.system ||= bookShoe(page).sizes.system;
  const known = panels(page);
  for (const mark of state.marks) {
    const panel = known.find((each) => each.id === mark.panel) ?? known[0];
    mark.panel = panel.id;
    const usable = panel.films ?? films.map((/** @type {any} */ film) => film.id);
    for (const part of [mark, mark.backing]) {
      if (!films.some((/** @type {any} */ film) => film.id === part.film)) {
        changeFilm(part, ["smooth", ...usable].find((film) => usable.includes(film)) ?? films[0].id, page.catalogue);
      }
    }
    if (!fonts.some((/** @type {any} */ font) => font.id === mark.font)) mark.font = (fonts.find((/** @type {any} */ font) => font.id === "plain") ?? fonts[0]).id;
  }
}

/** @param {Page} page */
export function drawMarking(page) {
  fill($("marking"), [
    h("legend", {}, h("h2", {}, w("marking"))),
    ...state.marks.map((mark, at) => drawMark(page, mark, at)),
    state.marks.length < page.catalogue.limits.placements && h("p", { class: "across" }, button(w("mark.more"), () => {
      const last = state.marks[state.marks.length - 1] ?? freshMark();
      const free = panels(page).find((panel) => !state.marks.some((mark) => mark.panel === panel.id));
      state.marks.push({ ...freshMark(), film: last.film, colour: last.colour, font: last.font, panel: free?.id ?? last.panel });
      page.changed(true);
      $(`text-${state.marks.length - 1}`).focus();
    }, { id: "mark-more" })),
  ]);
}

/** @param {Page} page @param {Mark} mark @param {number} at */
function drawMark(page, mark, at) {
  const pointer = `/placements/${at}`;
  /** @param {"sides" | "text" | "font" | "tall" | "height" | "spacing" | "pose" | "x" | "y" | "rotation"} name @param {boolean} [redraw] */
  const set = (name, redraw = false) => (/** @type {string} */ value) => {
    mark[name] = value;
    page.changed(redraw);
  };
  const film = page.catalogue.films.find((/** @type {any} */ each) => each.id === mark.film);
  const placeholders = state.roster?.fields ?? [];
  const turned = ["at", "searched"].includes(mark.pose) || mark.rotation || mark.sides !== "both" || mark.spacing !== "0" || mark.space;
  return h(
    "div",
    { class: "fields mark", role: "group", "aria-label": w("mark.number", { number: at + 1 }), "data-mark": at },
    state.marks.length > 1 && h("h3", { class: "across" }, w("mark.number", { number: at + 1 }), " ", button(w("mark.less"), () => {
      state.marks.splice(at, 1);
      page.changed(true);
      $("mark-more").focus();
    }, { id: `mark-less-${at}`, class: "small" })),
    mark.kind === "text"
      ? field(`text-${at}`, w("text"), h("textarea", {
          rows: String(Math.min(4, mark.text.split("\n").length)), maxlength: page.catalogue.limits.characters, spellcheck: "false", value: mark.text,
          oninput: (/** @type {any} */ event) => {
            event.target.rows = Math.min(4, event.target.value.split("\n").length);
            set("text")(event.target.value);
          },
        }), { at: `${pointer}/artwork/text`, wide: true, help: placeholders.length ? w("text.fields", { fields: placeholders.map((name) => `{${name}}`).join(" ") }) : "" })
      : h("p", { class: "across note", id: `text-${at}`, tabindex: "-1", "data-at": `${pointer}/artwork` }, w("drawing.taken", { file: mark.file }), " ", button(w("drawing.forget"), () => {
          mark.kind = "text";
          page.changed(true);
          $(`text-${at}`).focus();
        }, { id: `drawing-forget-${at}`, class: "small" })),
    field(`height-m${at}`, w(mark.kind === "drawing" || mark.tall === "height" ? "mark.height" : "letter.height"), digits(mark.height, set("height")), { at: `${pointer}/artwork/${mark.kind === "drawing" ? "height" : mark.tall}`, unit: "mm" }),
    mark.kind === "text" && field(`font-${at}`, w("font"), choice(mark.font, page.catalogue.fonts.map((/** @type {any} */ font) => [font.id, font.name]), set("font")), { at: `${pointer}/artwork/font` }),
    placeRadios(page, mark, at),
    filmChoice(page, `film-${at}`, mark, mark.panel, `${pointer}/film`),
    colourRadios(page, `colour-m${at}`, film, mark, `${pointer}/colour`),
    h("div", { class: "across" }, tick(`backing-${at}`, w("backing"), mark.backing.on, (on) => {
      mark.backing.on = on;
      const { film: other, colour } = mark.backing;
      const { colours } = page.catalogue.films.find((/** @type {any} */ each) => each.id === other);
      if (other === mark.film && colour === mark.colour) mark.backing.colour = colours.find((/** @type {any} */ each) => each.id !== colour)?.id ?? colour;
      page.changed(true);
    }, { "data-at": `${pointer}/backing` })),
    ...(mark.backing.on
      ? [
          filmChoice(page, `backing-film-${at}`, mark.backing, mark.panel, `${pointer}/backing/film`),
          field(`border-${at}`, w("border"), digits(mark.backing.border, (value) => {
            mark.backing.border = value;
            page.changed();
          }), { at: `${pointer}/backing/border`, unit: "mm" }),
          colourRadios(page, `backing-colour-${at}`, page.catalogue.films.find((/** @type {any} */ each) => each.id === mark.backing.film), mark.backing, `${pointer}/backing/colour`),
        ]
      : []),
    h(
      "details",
      { class: "across", id: `finer-${at}`, open: Boolean(turned) },
      h("summary", {}, w("finer")),
      h(
        "div",
        { class: "fields" },
        field(`sides-${at}`, w("sides"), choice(mark.sides, named("sides", SIDES), set("sides")), { at: `${pointer}/sides` }),
        field(`pose-${at}`, w("pose"), choice(mark.pose, named("pose", POSES), set("pose", true)), { at: `${pointer}/pose`, wide: true }),
        ...(mark.pose === "at"
          ? [
              field(`x-${at}`, w("pose.x"), digits(mark.x, set("x")), { at: `${pointer}/pose/x`, unit: "mm" }),
              field(`y-${at}`, w("pose.y"), digits(mark.y, set("y")), { at: `${pointer}/pose/y`, unit: "mm" }),
            ]
          : []),
        field(`rotation-${at}`, w("rotation"), digits(mark.rotation, set("rotation")), { at: `${pointer}/pose/rotation`, unit: "°", help: w("rotation.help") }),
        ...(mark.kind === "text"
          ? [
              field(`spacing-${at}`, w("spacing"), digits(mark.spacing, set("spacing")), { at: `${pointer}/artwork/letter_spacing`, help: w("spacing.help") }),
              h("div", { class: "across" }, tick(`space-${at}`, w("space"), mark.space, (value) => {
                mark.space = value;
                page.changed();
              })),
              field(`tall-${at}`, w("tall"), choice(mark.tall, named("tall", ["letter_height", "height"]), set("tall", true))),
            ]
          : [h("div", { class: "across" }, tick(`directional-${at}`, w("directional"), mark.directional, (value) => {
              mark.directional = value;
              page.changed();
            }))]),
        opener(`drawing-${at}`, w("drawing.open"), ".svg,image/svg+xml", (file) => { void takeDrawing(page, file, at); }),
      ),
    ),
  );
}

/** The panels as small outlines to choose from. @param {Page} page @param {Mark} mark @param {number} at */
function placeRadios(page, mark, at) {
  const known = panels(page);
  const shown = known.map((panel) => /** @type {[string, any]} */ ([
    panel.id,
    [
      h("svg", { viewBox: `-4 -4 ${panel.width_mm + 8} ${panel.height_mm + 8}`, "aria-hidden": "true", class: "outline" }, h("path", {
        d: panel.outline || `M0 0H${panel.width_mm}V${panel.height_mm}H0Z`, fill: panel.colour,
      })),
      h("span", {}, panel.name),
    ],
  ]));
  const group = radios(`place-${at}`, w("place"), mark.panel, shown, (value) => {
    mark.panel = value;
    page.changed(true);
  }, "places");
  group.setAttribute("data-at", `/placements/${at}/panel`);
  return group;
}

/** The films; those that do not hold on the panel stand apart. @param {Page} page @param {string} id @param {{ film: string, colour: string }} part @param {string} place @param {string} at */
function filmChoice(page, id, part, place, at) {
  const holding = panels(page).find((panel) => panel.id === place)?.films;
  const option = (/** @type {any} */ film) => h("option", { value: film.id, selected: film.id === part.film }, film.name);
  const holds = page.catalogue.films.filter((/** @type {any} */ film) => !holding || holding.includes(film.id));
  const others = page.catalogue.films.filter((/** @type {any} */ film) => holding && !holding.includes(film.id));
  const select = h("select", {
    onchange: (/** @type {any} */ event) => {
      changeFilm(part, event.target.value, page.catalogue);
      page.changed(true);
    },
  }, holds.map(option), others.length ? h("optgroup", { label: w("film.unsuited") }, others.map(option)) : null);
  return field(id, w(id.startsWith("backing") ? "backing.film" : "film"), select, { at, wide: true });
}

/** @param {Page} page @param {string} name @param {any} film @param {{ colour: string }} part @param {string} at */
function colourRadios(page, name, film, part, at) {
  const options = film.colours.map((/** @type {any} */ colour) => {
    const swatch = h("span", { class: `swatch ${colour.effect}`, "aria-hidden": "true" });
    swatch.style.backgroundColor = colour.hex;
    return [colour.id, [swatch, h("span", {}, colour.name)]];
  });
  const group = radios(name, w("colour"), part.colour, options, (value) => {
    part.colour = value;
    page.changed();
  }, "swatches");
  group.setAttribute("data-at", at);
  return group;
}

/** Pairs, whose they are, and the shop's word for the order. @param {Page} page */
export function drawRest(page) {
  fill($("rest"), [
    h("legend", {}, h("h2", {}, w("rest"))),
    field("pairs", w("pairs"), digits(state.pairs, (value) => {
      state.pairs = value;
      page.changed();
    }), { at: "/pairs" }),
    field("more", w("more"), digits(state.more, (value) => {
      state.more = value;
      page.changed();
    }), { at: "/quantities" }),
    field("owner", w("owner"), choice(state.owner, named("owner", ["customer", "shop"]), (value) => {
      state.owner = value;
      page.changed();
    }), { at: "/owner" }),
    field("reference", w("reference"), text(state.reference, (value) => {
      state.reference = value;
      page.changed();
    }, { maxlength: "64" }), { at: "/reference" }),
    opener("list", w("roster.open"), ".csv,.txt,text/csv", (file) => page.list(file)),
    h("p", { class: "help across" }, w("drop.help")),
  ]);
}

/** Takes a drawing for a mark. @param {Page} page @param {File} file @param {number} at */
export async function takeDrawing(page, file, at) {
  const mark = state.marks[at];
  if (!mark) return;
  Object.assign(mark, { kind: "drawing", svg: await file.text(), file: file.name });
  page.message(w("drawing.taken", { file: file.name }));
  page.changed(true);
}
