// The page of a web shop: the live answer to what the customer chooses.
// @ts-check
import { Featherline, pause } from "./asking.js";
import { checkOut, put } from "./basket.js";
import { chosen, fillLists, keep, listen, order, restore, take, typedText } from "./choices.js";
import { button, element, say } from "./elements.js";
import { isLanguage, isText, price, text } from "./texts.js";

/** @typedef {import("./described.js").components["schemas"]} Schemas */
/** @typedef {import("./texts.js").Language} Language */

const PAUSE_S = 0.25; // after it the customer has stopped typing

const answer = element("answer", HTMLElement);
const connection = element("connection", HTMLElement);
const reasons = element("reasons", HTMLUListElement);
const proposals = element("proposals", HTMLElement);
const picture = element("picture", HTMLImageElement);
const add = element("add", HTMLButtonElement);
const whole = new AbortController(); // nothing that is asked with it is given up

/** @type {Language} */
let language = "en";
let asked = new AbortController();

/**
 * Says what keeps the page from an answer, and when it asks again.
 * @type {import("./asking.js").OnWait}
 */
function onWait(hindrance, seconds) {
  say(connection, text(language, hindrance, { seconds }));
}

/** Shows the page's own words in the language that is chosen. */
function showWords() {
  const value = chosen("language");
  if (isLanguage(value)) language = value;
  document.documentElement.lang = language;
  document.title = text(language, "title");
  for (const place of document.querySelectorAll("[data-text]")) {
    const name = place.getAttribute("data-text") ?? "";
    if (isText(name)) place.textContent = text(language, name);
  }
}

/**
 * Shows an answer: its sentence, the reasons for it, and what would be done instead.
 * @param {string} message
 * @param {readonly Schemas["OfferReason"][]} [why]
 * @param {readonly HTMLButtonElement[]} [others]
 */
function show(message, why = [], others = []) {
  say(answer, message);
  const items = why.map(({ sentence }) => {
    const item = document.createElement("li");
    item.textContent = sentence;
    return item;
  });
  reasons.replaceChildren(...items);
  proposals.replaceChildren(...others);
}

/**
 * Returns buttons that take the orders which would be done instead.
 * @param {Schemas["Offer"]} offer
 * @param {() => void} ask
 * @returns {HTMLButtonElement[]}
 */
function instead(offer, ask) {
  return (offer.proposals ?? []).map(({ changes, total, order: proposed }) => {
    const words = changes.map(({ sentence }) => sentence).join(" ");
    return button(`${words} ${price(language, total)}`, () => (take(proposed), ask()));
  });
}

/**
 * Asks for the offer of what is chosen once the customer pauses, and shows it; what was asked before is given up.
 * @param {Featherline} featherline
 * @param {Schemas["Catalogue"]} catalogue
 */
async function ask(featherline, catalogue) {
  asked.abort();
  asked = new AbortController();
  const { signal } = asked;
  add.disabled = true;
  fillLists(catalogue, text(language, "largest"));
  keep();
  if (typedText() === "") {
    showPicture(null);
    return show(text(language, "empty"));
  }
  try {
    await pause(PAUSE_S, signal);
    const wanted = order(catalogue);
    const [answered, shown] = await Promise.all([
      featherline.offer(wanted, language, signal, onWait),
      featherline.picture(wanted, language, signal, onWait),
    ]);
    say(connection, "");
    showPicture(shown);
    if ("problem" in answered) return showProblem(answered.problem);
    const image = shown?.address ? featherline.at(shown.address) : null;
    showOffer({ order: wanted, image }, answered.offer, () => void ask(featherline, catalogue));
  } catch (error) {
    if (!signal.aborted) throw error;
  }
}

/**
 * Shows a picture, with its words for whoever does not see it; none is shown where there is none.
 * @param {Schemas["Picture"] | null} shown
 */
function showPicture(shown) {
  URL.revokeObjectURL(picture.src);
  picture.hidden = shown?.svg == null;
  picture.alt = shown?.alternative ?? "";
  picture.src = shown?.svg ? URL.createObjectURL(new Blob([shown.svg], { type: "image/svg+xml" })) : "";
}

/**
 * Shows an offer; one that is ready may go into the basket.
 * @param {{ order: Schemas["Order"], image: string | null }} wanted
 * @param {Schemas["Offer"]} offer
 * @param {() => void} again
 */
function showOffer(wanted, offer, again) {
  const { verdict, seal } = offer;
  const cost = offer.price === null ? "" : price(language, offer.price.paid);
  show(text(language, verdict, { price: cost }), offer.reasons, instead(offer, again));
  add.disabled = verdict !== "ready" || seal === null;
  add.onclick = () => seal !== null && put(language, { order: wanted.order, seal: seal.text }, cost, wanted.image);
}

/**
 * Shows why an order was refused. A colour of the catalogue that is refused was sold out since.
 * @param {Schemas["Problem"]} problem
 */
function showProblem({ errors, detail }) {
  const fault = errors?.[0];
  const soldOut = fault?.pointer.endsWith("/colour") ?? false;
  show(text(language, soldOut ? "soldOut" : "refused", { detail: fault?.detail ?? detail }));
}

restore();
showWords();
/** @type {{ service: string, key: string }} */
const shop = await (await fetch("shop.json")).json();
const featherline = new Featherline(shop.service, shop.key);
let catalogue = await featherline.catalogue(language, whole.signal, onWait);
say(connection, "");
element("shop-name", HTMLElement).textContent = catalogue.name;
fillLists(catalogue, text(language, "largest"));
restore();
listen(async () => {
  if (chosen("language") !== language) {
    showWords();
    catalogue = await featherline.catalogue(language, whole.signal, onWait);
  }
  await ask(featherline, catalogue);
});
element("buy", HTMLButtonElement).addEventListener("click", () => void checkOut(language));
await ask(featherline, catalogue);
