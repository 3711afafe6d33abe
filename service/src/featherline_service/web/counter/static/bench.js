/** The bench's side of an answer: settings in large, steps, cautions, and the card and drawings to take along. */

import { $, button, fill, h } from "./elements.js";
import { pictured, state } from "./order.js";
import { ask } from "./service.js";
import { number, w, wordsOr } from "./words.js";

/** @typedef {import("./shoe.js").Page} Page */

/** A setting as the press is set, in the scale that it can be set to. @param {any} setting */
export function settingParts(setting) {
  const celsius = setting.settable_in.includes("degC");
  return [
    [`${number(celsius ? setting.temperature_c : setting.temperature_f)} ${celsius ? "°C" : "°F"}`, w("setting.temperature")],
    [`${number(setting.dwell_s)} s`, w("setting.dwell")],
    [wordsOr(`pressure.${setting.pressure}`, setting.pressure), w("setting.pressure")],
    [setting.cover ? wordsOr(`cover.${setting.cover}`, setting.cover.replaceAll("-", " ")) : w("cover.none"), w("setting.cover")],
  ];
}

/** @param {any} setting */
export const drawSetting = (setting) =>
  h("dl", { class: "setting" }, settingParts(setting).map(([value, name]) => h("div", {}, h("dt", {}, name ?? ""), h("dd", { dir: "auto" }, value ?? ""))));

let spoken = "en";
/** Says in which language an answer's steps and cautions are, whatever the page speaks. @param {string} language */
export const speaksIn = (language) => { spoken = language; };

/** @param {string} sentence @param {string} tag */
export const said = (sentence, tag) => h(tag, { lang: spoken, dir: "auto" }, plain(sentence));

/** A sentence without the names of fields, which whoever writes a request needs. @param {string} sentence */
const plain = (sentence) => sentence.replace(/ \(`[^`]+`\)/g, "").replaceAll("`", "");

/** @param {any[]} pressings @param {any} catalogue */
export function drawPressings(pressings, catalogue) {
  return pressings.map((pressing, at) => {
    const film = catalogue.films.find((/** @type {any} */ each) => each.id === pressing.recipe.film)?.name ?? pressing.recipe.film;
    return h(
      "section",
      { class: "pressing", "aria-label": w("pressing", { number: at + 1 }) },
      h("h3", {}, w("pressing", { number: at + 1 }), h("span", { class: "soft" }, ` ${film} · ${w(`face.${pressing.face}`)} · ${pressing.shoes.map((/** @type {string} */ side) => w(`shoe.${side}`)).join(", ")}`)),
      pressing.recipe.setting && drawSetting(pressing.recipe.setting),
      h("ol", { class: "steps" }, pressing.recipe.steps.map((/** @type {any} */ step) => said(step.sentence, "li"))),
    );
  });
}

/** @param {any[]} pressings */
export function drawCautions(pressings) {
  const sentences = [...new Set(pressings.flatMap((pressing) => pressing.recipe.cautions.map((/** @type {any} */ caution) => caution.sentence)))];
  return h("section", { class: "cautions", "aria-labelledby": "cautions" }, h("h3", { id: "cautions" }, w("cautions")), h("ul", {}, sentences.map((sentence) => said(sentence, "li"))));
}

/** @param {Page} page @param {any} quote @param {any} order */
export function drawBench(page, quote, order) {
  const stood = state.trial?.stood;
  const pressings = h("div", { class: "pressings" }, drawPressings(quote.pressings, page.catalogue));
  $("bench").hidden = false;
  fill($("bench"), [
    h("h2", { id: "bench-title" }, w("bench")),
    h("div", { class: "row" },
      button(w("card"), () => { void take(page, () => ask("/v1/quotes", order, "application/pdf"), `${order.reference ?? "card"}.pdf`); }, { id: "card", class: "main" }),
      ...order.placements.map((/** @type {any} */ _, /** @type {number} */ at) =>
        button(order.placements.length > 1 ? w("drawing.save.number", { number: at + 1 }) : w("drawing.save"), () => {
          void take(page, () => ask("/v1/fits", pictured(order, at), "image/svg+xml"), `${order.reference ?? "drawing"}-${at + 1}.svg`);
        }, { id: `save-${at}` })),
      ...lotsOf(order).map((/** @type {any} */ lot, /** @type {number} */ at) => {
        const film = page.catalogue.films.find((/** @type {any} */ each) => each.id === lot.film);
        const colour = film?.colours.find((/** @type {any} */ each) => each.id === lot.colour);
        return film?.is_cut !== false && button(w("cut", { film: film?.name ?? lot.film, colour: colour?.name ?? lot.colour }), () => {
          void take(page, () => cutSheet(order, lot), `${order.reference ?? "cut"}-${lot.film}-${lot.colour}.svg`);
        }, { id: `cut-${at}` });
      })),
    stood && h("section", { class: "pressing stood" }, h("h3", {}, w("trial.stood")), drawSetting(stood)),
    ...(quote.verdict === "trial" && !stood
      ? [h("details", {}, h("summary", {}, w("bench.later")), pressings)]
      : [pressings]),
    ...(state.trial ? [] : [drawCautions(quote.pressings)]), // those of the trial stand above
  ]);
}

/** The films that an order is cut from, each with its colour. @param {any} order */
function lotsOf(order) {
  const marks = order.placements.flatMap((/** @type {any} */ each) => [each.backing, each].filter(Boolean));
  return [...new Map(marks.map((/** @type {any} */ each) => [`${each.film}-${each.colour}`, each])).values()];
}

/** What is cut from one film, of the sheet of all. @param {any} order @param {any} lot */
async function cutSheet(order, lot) {
  const text = await (await ask("/v1/quotes", order, "image/svg+xml")).text();
  const sheet = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  for (const group of sheet.querySelectorAll("g")) {
    const { film, colour, box = "" } = group.dataset;
    if (film !== lot.film || colour !== lot.colour) group.remove();
    else {
      const [, , width, height] = box.split(" ");
      for (const [name, value] of [["viewBox", box], ["width", `${width}mm`], ["height", `${height}mm`]]) sheet.setAttribute(name ?? "", value ?? "");
    }
  }
  return new Response(new XMLSerializer().serializeToString(sheet), { headers: { "Content-Type": "image/svg+xml" } });
}

/** Takes a file of the service along. @param {Page} page @param {() => Promise<Response>} asked @param {string} name */
export async function take(page, asked, name) {
  try {
    const address = URL.createObjectURL(await (await asked()).blob());
    h("a", { href: address, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(address), 60_000);
    page.message(w("taken", { name }));
  } catch {
    page.message(w("taken.not"));
  }
}
