// The page's words, in the languages that it offers. The reasons come from the service in the same language.
// @ts-check

const en = {
  language: "Language",
  title: "Shoes with your name",
  shoe: "Your shoe",
  model: "Model",
  size: "Size (EU)",
  marking: "Your marking",
  text: "Text",
  letters: "Height of the letters",
  largest: "As large as fits",
  font: "Lettering",
  place: "Place",
  film: "Film",
  colour: "Colour",
  answer: "Your shoe with it",
  add: "Add to the basket",
  cart: "Basket",
  buy: "Check out",
  invented: "An invented shop: nothing here is sold.",
  empty: "Type a text.",
  ready: "We can do that. It costs {price} a pair, added to the price of the shoes.",
  trial: "We have to try that on a spare piece first. Please ask in the shop; it is not sold here.",
  decline: "That cannot be done.",
  soldOut: "That colour is sold out. Please choose another.",
  refused: "Please change what is marked: {detail}",
  busy: "Many are asking just now. Asking again in {seconds} s; nothing is lost.",
  offline: "No connection. What you chose is kept; asking again in {seconds} s.",
  added: "In the basket: {text}, {price}",
  remove: "Remove {text}",
  unpaid: "The basket could not be checked. Nothing is lost; please try again.",
  paid: "You pay {price}.",
  anew: "The price of {text} has changed, or it did not belong to this order. Please add it again.",
};

/** @type {typeof en} */
const de = {
  language: "Sprache",
  title: "Schuhe mit Ihrem Namen",
  shoe: "Ihr Schuh",
  model: "Modell",
  size: "Größe (EU)",
  marking: "Ihre Aufschrift",
  text: "Text",
  letters: "Höhe der Buchstaben",
  largest: "So groß wie möglich",
  font: "Schrift",
  place: "Stelle",
  film: "Folie",
  colour: "Farbe",
  answer: "Ihr Schuh damit",
  add: "In den Warenkorb",
  cart: "Warenkorb",
  buy: "Zur Kasse",
  invented: "Ein erfundener Laden: Hier wird nichts verkauft.",
  empty: "Geben Sie einen Text ein.",
  ready: "Das geht. Es kostet {price} das Paar, zusätzlich zum Preis der Schuhe.",
  trial: "Das müssen wir zuerst an einem Reststück versuchen. Bitte fragen Sie im Laden; hier wird es nicht verkauft.",
  decline: "Das geht nicht.",
  soldOut: "Diese Farbe ist ausverkauft. Bitte wählen Sie eine andere.",
  refused: "Bitte ändern Sie, was markiert ist: {detail}",
  busy: "Gerade fragen viele. Neuer Versuch in {seconds} s; nichts geht verloren.",
  offline: "Keine Verbindung. Ihre Auswahl bleibt erhalten; neuer Versuch in {seconds} s.",
  added: "Im Warenkorb: {text}, {price}",
  remove: "{text} entfernen",
  unpaid: "Der Warenkorb konnte nicht geprüft werden. Nichts ist verloren; bitte versuchen Sie es noch einmal.",
  paid: "Sie zahlen {price}.",
  anew: "Der Preis von {text} hat sich geändert, oder er gehörte nicht zu dieser Bestellung. Bitte fügen Sie sie neu hinzu.",
};

/** @typedef {keyof typeof en} TextName */
/** @typedef {"en" | "de"} Language */

const texts = { en, de };

/**
 * Returns a text with its values filled in.
 * @param {Language} language
 * @param {TextName} name
 * @param {Readonly<Record<string, string | number>>} [values]
 * @returns {string}
 */
export function text(language, name, values = {}) {
  return texts[language][name].replace(/\{(\w+)\}/g, (whole, key) => String(values[key] ?? whole));
}

/**
 * Returns an amount of money as the language writes it.
 * @param {Language} language
 * @param {{ amount: string, currency: string }} money
 * @returns {string}
 */
export function price(language, { amount, currency }) {
  return new Intl.NumberFormat(language, { style: "currency", currency }).format(Number(amount));
}

/**
 * Returns whether there is a text of a name.
 * @param {string} value
 * @returns {value is TextName}
 */
export function isText(value) {
  return value in en;
}

/**
 * Returns whether a text names a language of the page.
 * @param {string} value
 * @returns {value is Language}
 */
export function isLanguage(value) {
  return value in texts;
}
