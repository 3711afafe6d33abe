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
  refused: "Please change what is marked. {detail}.",
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
  refused: "Bitte ändern Sie, was markiert ist. {detail}.",
  busy: "Gerade fragen viele. Neuer Versuch in {seconds} s; nichts geht verloren.",
  offline: "Keine Verbindung. Ihre Auswahl bleibt erhalten; neuer Versuch in {seconds} s.",
  added: "Im Warenkorb: {text}, {price}",
  remove: "{text} entfernen",
  unpaid: "Der Warenkorb konnte nicht geprüft werden. Nichts ist verloren; bitte versuchen Sie es noch einmal.",
  paid: "Sie zahlen {price}.",
  anew: "Der Preis von {text} hat sich geändert, oder er gehörte nicht zu dieser Bestellung. Bitte fügen Sie sie neu hinzu.",
};

/** @type {typeof en} */
const fr = {
  language: "Langue",
  title: "Des chaussures à votre nom",
  shoe: "Votre chaussure",
  model: "Modèle",
  size: "Pointure (EU)",
  marking: "Votre marquage",
  text: "Texte",
  letters: "Hauteur des lettres",
  largest: "Aussi grand que possible",
  font: "Police",
  place: "Emplacement",
  film: "Film",
  colour: "Couleur",
  answer: "Votre chaussure marquée",
  add: "Ajouter au panier",
  cart: "Panier",
  buy: "Commander",
  invented: "Une boutique inventée : rien n’est vendu ici.",
  empty: "Saisissez un texte.",
  ready: "C’est possible. Cela coûte {price} la paire, en plus du prix des chaussures.",
  trial: "Il nous faut d’abord l’essayer sur une chute. Demandez à la boutique ; cela n’est pas vendu ici.",
  decline: "Ce n’est pas possible.",
  soldOut: "Cette couleur est épuisée. Choisissez-en une autre.",
  refused: "Veuillez changer le marquage. {detail}.",
  busy: "Beaucoup de demandes en ce moment. Nouvel essai dans {seconds} s ; rien n’est perdu.",
  offline: "Pas de connexion. Vos choix sont gardés ; nouvel essai dans {seconds} s.",
  added: "Dans le panier : {text}, {price}",
  remove: "Retirer {text}",
  unpaid: "Le panier n’a pas pu être vérifié. Rien n’est perdu ; veuillez réessayer.",
  paid: "Vous payez {price}.",
  anew: "Le prix de {text} a changé, ou n’était pas celui de cette commande. Ajoutez-la de nouveau.",
};

/** @type {typeof en} */
const es = {
  language: "Idioma",
  title: "Zapatos con su nombre",
  shoe: "Su zapato",
  model: "Modelo",
  size: "Talla (EU)",
  marking: "Su inscripción",
  text: "Texto",
  letters: "Altura de las letras",
  largest: "Tan grande como quepa",
  font: "Letra",
  place: "Lugar",
  film: "Lámina",
  colour: "Color",
  answer: "Su zapato marcado",
  add: "Añadir a la cesta",
  cart: "Cesta",
  buy: "Finalizar la compra",
  invented: "Una tienda inventada: aquí no se vende nada.",
  empty: "Escriba un texto.",
  ready: "Se puede hacer. Cuesta {price} el par, además del precio de los zapatos.",
  trial: "Primero tenemos que probarlo en un retal. Pregunte en la tienda; aquí no se vende.",
  decline: "No se puede hacer.",
  soldOut: "Ese color está agotado. Elija otro.",
  refused: "Cambie lo que se marca. {detail}.",
  busy: "Ahora preguntan muchos. Se vuelve a preguntar en {seconds} s; no se pierde nada.",
  offline: "No hay conexión. Lo que ha elegido se guarda; se vuelve a preguntar en {seconds} s.",
  added: "En la cesta: {text}, {price}",
  remove: "Quitar {text}",
  unpaid: "No se pudo comprobar la cesta. No se pierde nada; inténtelo de nuevo.",
  paid: "Paga usted {price}.",
  anew: "El precio de {text} ha cambiado, o no era de este pedido. Añádalo de nuevo.",
};

/** @typedef {keyof typeof en} TextName */
/** @typedef {"en" | "de" | "fr" | "es"} Language */

const texts = { en, de, fr, es };

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
