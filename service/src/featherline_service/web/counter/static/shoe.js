/** The first act: which shoe it is. Of the book, or what its tongue label and a ruler say. */

import { $, button, choice, digits, field, fill, h, opener, radios, text, tick } from "./elements.js";
import { freshPanel, mm, save, state } from "./order.js";
import { Line, Problem, ask } from "./service.js";
import { number, w, wordsOr } from "./words.js";

export const SYSTEMS = ["EU", "UK", "UK-child", "US-men", "US-women", "US-women-FIA", "US-child", "JP", "mondopoint"];
const LABELS = ["leather", "coated-leather", "textile", "other"];
const SURFACES = ["leather", "suede", "coated", "glossy", "woven", "knit", "foam", "rubber"];
const FACES = ["outer", "inner", "toe", "tongue", "heel"];
const CURVES = ["flat", "gentle", "tight", "rise"];
const TESTS = {
  water_drop: ["soaks-in", "beads"], fingernail: ["dents", "none"], thread: ["sinks", "floats"], marking: ["pvc-free", "pvc", "none"],
};

/** @param {string} prefix @param {string[]} names @param {string} [none] @returns {[string, string][]} */
export const named = (prefix, names, none) => [
  .../** @type {[string, string][]} */ (none ? [["", w(none)]] : []),
  ...names.map((name) => /** @type {[string, string]} */ ([name, w(`${prefix}.${name}`)])),
];

/** @typedef {{ catalogue: any, changed: (redraw?: boolean) => void, message: (text: string) => void, list: (file: File) => void, askKey: (wrong: boolean) => void }} Page */

/** @param {Page} page */
export const bookShoe = (page) => page.catalogue.shoes.find((/** @type {any} */ shoe) => shoe.id === state.book.shoe);

/** @param {Page} page */
export function drawShoe(page) {
  const body = state.kind === "book" ? ofTheBook(page) : measured(page);
  fill($("shoe"), [
    h("legend", {}, h("h2", {}, w("shoe"))),
    radios("kind", w("shoe.which"), state.kind, [["book", w("shoe.book")], ["measured", w("shoe.measured")]], (kind) => {
      state.kind = kind;
      page.changed(true);
    }),
    ...body,
    field("conditioning", w("conditioning"), choice(state.conditioning, named("conditioning", ["room", "dry", "damp"]), (value) => {
      state.conditioning = value;
      page.changed();
    }), { at: "/shoe/conditioning" }),
  ]);
}

/** @param {Page} page */
function ofTheBook(page) {
  const shoe = bookShoe(page);
  const { system, smallest, largest } = shoe.sizes;
  const sizes = Array.from({ length: Math.floor(largest - smallest) + 1 }, (_, at) => String(smallest + at));
  return [
    field("book-shoe", w("shoe.name"), choice(state.book.shoe, page.catalogue.shoes.map((/** @type {any} */ each) => [each.id, each.name]), (id) => {
      state.book.shoe = id;
      state.book.system = bookShoe(page).sizes.system;
      state.book.colour = "";
      page.changed(true);
    }), { at: "/shoe/shoe", wide: true }),
    field("system", w("size.system"), choice(state.book.system, SYSTEMS.map((name) => [name, w(`system.${name}`)]), (value) => {
      state.book.system = value;
      page.changed();
    }), { at: "/shoe/size/system" }),
    field("size", w("size"), text(state.book.size, (value) => {
      state.book.size = value;
      page.changed();
    }, { inputmode: "decimal", size: "6", list: "sizes" }), {
      at: "/shoe/size", help: w("size.made", { system: w(`system.${system}`), smallest, largest }),
    }),
    shoe.colours?.length && field("shoe-colour", w("shoe.colour"), choice(state.book.colour, [["", w("shoe.colour.own")], ...shoe.colours.map((/** @type {any} */ each) => /** @type {[string, string]} */ ([each.id, each.name]))], (value) => {
      state.book.colour = value;
      page.changed();
    }), { at: "/shoe/colour" }),
    h("datalist", { id: "sizes" }, sizes.map((size) => h("option", { value: size }))),
    shoe.protective && h("div", { class: "across" }, tick("consent", w("consent"), state.book.consent, (value) => {
      state.book.consent = value;
      page.changed();
    }, { "data-at": "/shoe/makers_consent" })),
  ];
}

/** @param {Page} page */
function measured(page) {
  const shoe = state.measured;
  /** @param {(value: string) => void} set */
  const said = (set) => (/** @type {string} */ value) => {
    set(value);
    shoe.upper = "";
    page.changed();
  };
  return [
    radios("label", w("label"), shoe.label, named("label", LABELS), (value) => {
      shoe.label = value;
      shoe.upper = "";
      page.changed(true);
    }),
    shoe.upper && h("p", { class: "across note" }, w("upper.taken", { upper: shoe.upperName }), " ", button(w("upper.forget"), () => {
      shoe.upper = "";
      page.changed(true);
    }, { id: "upper-forget" })),
    field("surface", w("surface"), choice(shoe.surface, named("surface", SURFACES, "unknown"), said((value) => { shoe.surface = value; })), { at: "/shoe/surface", wide: true }),
    field("inside", w("inside"), digits(shoe.inside, (value) => {
      shoe.inside = value;
      page.changed();
    }), { at: "/shoe/inside_length", unit: "mm", help: w("inside.help") }),
    ...shoe.panels.flatMap((panel, at) => measuredPanel(page, panel, at)),
    h("p", { class: "across" }, button(w("panel.more"), () => {
      const taken = shoe.panels.map((each) => each.panel);
      const free = ["outer-quarter", "inner-quarter", "toe", "tongue", "heel"].find((name) => !taken.includes(name));
      shoe.panels.push({ ...freshPanel(free ?? `panel-${taken.length + 1}`), face: FACES[["outer-quarter", "inner-quarter", "toe", "tongue", "heel"].indexOf(free ?? "outer-quarter")] ?? "outer" });
      page.changed(true);
    }, { id: "panel-more" })),
    photo(page),
    h(
      "details",
      { class: "across", id: "tests", open: Object.values(shoe.tests).some(Boolean) },
      h("summary", {}, w("tests")),
      h("p", { class: "help" }, w("tests.help")),
      h("div", { class: "fields" }, Object.entries(TESTS).map(([test, outcomes]) =>
        field(`test-${test}`, w(`test.${test}`), choice(shoe.tests[test] ?? "", named(`test.${test}`, outcomes, "test.not"), said((value) => {
          shoe.tests[test] = value;
        })), { at: `/shoe/tests/${test}`, wide: true }))),
    ),
  ];
}

/** @param {Page} page @param {import("./order.js").Panel} panel @param {number} at */
function measuredPanel(page, panel, at) {
  /** @param {"face" | "width" | "height" | "curvature" | "rise" | "over" | "colour" | "form"} name @param {boolean} [redraw] */
  const set = (name, redraw = false) => (/** @type {string} */ value) => {
    panel[name] = value;
    page.changed(redraw);
  };
  const pointer = `/shoe/panels/${at}`;
  return [
    h("h3", { class: "across" }, w("panel.number", { name: nameOf(panel.panel) })),
    field(`face-${at}`, w("face"), choice(panel.face, named("face", FACES), set("face")), { at: `${pointer}/face` }),
    field(`curvature-${at}`, w("curvature"), choice(panel.curvature, named("curvature", CURVES, "unknown"), set("curvature", true)), { at: `${pointer}/curvature` }),
    ...(panel.curvature === "rise"
      ? [
          field(`rise-${at}`, w("rise"), digits(panel.rise, set("rise")), { at: `${pointer}/curvature/rise`, unit: "mm" }),
          field(`over-${at}`, w("over"), digits(panel.over, set("over")), { unit: "mm" }),
        ]
      : []),
    ...(panel.form === "traced"
      ? [h("p", { class: "across note" }, w("traced"), " ", button(w("traced.forget"), () => {
          panel.form = "rectangle";
          page.changed(true);
        }, { id: `untrace-${at}` }))]
      : [
          field(`width-${at}`, w("width"), digits(panel.width, set("width")), { at: `${pointer}/shape/width`, unit: "mm", help: w("width.help") }),
          field(`height-${at}`, w("height"), digits(panel.height, set("height")), { at: `${pointer}/shape/height`, unit: "mm" }),
          field(`form-${at}`, w("form"), choice(panel.form, named("form", ["rectangle", "ellipse"]), set("form")), { at: `${pointer}/shape` }),
        ]),
    field(`colour-${at}`, w("upper.colour"), h("input", { type: "color", value: panel.colour, oninput: (/** @type {any} */ event) => set("colour")(event.target.value) }), { at: `${pointer}/colour` }),
    state.measured.panels.length > 1 && h("p", { class: "across" }, button(w("panel.less"), () => {
      state.measured.panels.splice(at, 1);
      page.changed(true);
    }, { id: `panel-less-${at}` })),
  ];
}

/** The name of a panel for people. @param {string} id */
export const nameOf = (id) => wordsOr(`panel.${id}`, id.charAt(0).toUpperCase() + id.slice(1).replaceAll("-", " "));

const photos = new Line();
/** @type {any} */
let overlay = null;

/** A panel from the photo of a tape tracing, or from the file of one. @param {Page} page */
function photo(page) {
  const shoe = state.measured;
  const bar = (/** @type {"along" | "across"} */ name) => field(`photo-${name}`, w(`photo.${name}`), digits(shoe[name], (value) => {
    shoe[name] = value;
    save();
  }), { unit: "mm" });
  const sheet = (/** @type {string} */ paper, /** @type {string} */ name) => button(w("photo.sheet", { paper: name }), () => {
    void import("./bench.js").then(
      ({ take }) => take(page, () => ask(`/v1/tracing-sheets/${paper}`, null, "application/pdf"), `${paper}.pdf`),
      () => { page.message(w("taken.not")); },
    );
  }, { id: `sheet-${paper}`, class: "small" });
  return h(
    "details",
    { class: "across", id: "photo", open: Boolean(overlay) },
    h("summary", {}, w("photo")),
    h("p", { class: "help" }, w("photo.help")),
    h("div", { class: "row" }, sheet("a4", "A4"), sheet("letter", "Letter")),
    h("div", { class: "fields" }, bar("along"), bar("across"),
      opener("tracing", w("photo.open"), ".json,.jpg,.jpeg,.png,.svg,.dxf,application/json,image/jpeg,image/png,image/svg+xml", (file) => { takePanel(page, file); })),
    h("ul", { id: "photo-wrong", class: "wrong", "aria-live": "polite" }),
    overlay,
  );
}

/** @type {Record<string, string>} */
const DRAWINGS = { svg: "image/svg+xml", dxf: "image/vnd.dxf" };

/** Takes a panel: of a drawing, of the file of a tracing, or of the photo of one. @param {Page} page @param {File} file */
export function takePanel(page, file) {
  const drawing = DRAWINGS[file.name.toLowerCase().split(".").pop() ?? ""];
  if (!drawing && !file.type.startsWith("image/")) {
    void takeTracing(page, file);
    return;
  }
  const shoe = state.measured;
  if (state.kind !== "measured") {
    state.kind = "measured";
    page.changed(true);
  }
  if (!drawing && (!shoe.along.trim() || !shoe.across.trim())) {
    page.message(w("photo.bars"));
    $("photo").open = true;
    $("photo-along").focus();
    return;
  }
  const wanted = shoe.panels.find((each) => !each.width && each.form !== "traced") ?? shoe.panels[0] ?? freshPanel();
  const query = new URLSearchParams({ panel: wanted.panel, face: wanted.face });
  if (!drawing) {
    query.set("along", mm(shoe.along));
    query.set("across", mm(shoe.across));
  }
  const sent = drawing ? new Blob([file], { type: drawing }) : file;
  page.message(w("photo.reading", { file: file.name }));
  photos.ask(async () => {
    try {
      const answer = await (await ask(`/v1/tracings?${query}`, sent)).json();
      const drawn = await (await ask(`/v1/tracings?${query}`, sent, "image/svg+xml")).blob();
      overlay = h("figure", {}, h("img", { src: URL.createObjectURL(drawn), alt: w("photo.picture") }),
        h("figcaption", {}, ...answer.cautions.map((/** @type {string} */ caution) => h("p", { class: "help", lang: "en" }, caution))));
      place(answer.panel);
      page.changed(true);
      page.message(w("photo.taken", { file: file.name, off: number(answer.off_mm) }));
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      const faults = error.faults.length ? error.faults.map((fault) => fault.detail) : [error.detail];
      $("photo").open = true;
      fill($("photo-wrong"), faults.map((fault) => h("li", { lang: "en" }, fault)));
    }
  });
}

/** Takes the file of a tracing: a panel as it goes into a request, or an answer that has one. @param {Page} page @param {File} file */
export async function takeTracing(page, file) {
  let tracing;
  try {
    const read = JSON.parse(await file.text());
    tracing = read.panel?.shape ? read.panel : read;
    if (tracing.shape?.kind !== "traced" || typeof tracing.shape.d !== "string") throw new Error("no tracing");
  } catch {
    page.message(w("tracing.unread", { file: file.name }));
    return;
  }
  place(tracing);
  state.kind = "measured";
  page.message(w("tracing.taken", { file: file.name }));
  page.changed(true);
}

/** Puts a traced panel in the place of that of its name, or of an empty one. @param {any} tracing */
function place(tracing) {
  const panel = { ...freshPanel(tracing.panel ?? "outer-quarter"), form: "traced", traced: tracing.shape };
  for (const name of /** @type {const} */ (["face", "up", "colour"])) if (tracing[name]) panel[name] = tracing[name];
  if (CURVES.includes(tracing.curvature)) panel.curvature = tracing.curvature;
  const panels = state.measured.panels;
  const at = panels.findIndex((each) => each.panel === panel.panel || (!each.width && each.form !== "traced"));
  if (at < 0) panels.push(panel);
  else panels[at] = panel;
}
