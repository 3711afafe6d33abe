// Asks a running service through the client of @hey-api/openapi-ts: `hey.js URL LINES` prints what it read.
import { readFileSync } from "node:fs";
import { client } from "./hey/client.gen.js";
import { answerBulk, checkSeal, composeQuote, readFilm } from "./hey/sdk.gen.js";
import type { BookShoe, Order, Placement, TextArtwork } from "./hey/types.gen.js";
import { CLOG, DECK, present, type Texts } from "./orders.js";

function order({ shoe, size, panel, colour, text, font, height }: Texts): Order {
  const artwork: TextArtwork = { kind: "text", text, font, height };
  const placement: Placement = { panel, film: "smooth", colour, artwork };
  const worn: BookShoe = { kind: "book", shoe, size: { system: "EU", value: size } };
  return { shoe: worn, placements: [placement], reference: "K-2041" };
}

client.setConfig({ baseUrl: present(process.argv[2]) });

const quote = present((await composeQuote({ body: order(DECK) })).data);
const clog = present((await composeQuote({ body: order(CLOG) })).data);
const refused = present((await composeQuote({ body: { ...order(DECK), press: "mangle" } })).error);
const check = present((await checkSeal({ body: { seal: present(quote.seal).text } })).data);
const film = present((await readFilm({ path: { id: "smooth" } })).data);
const lines = present(
  (await answerBulk({ body: new Blob([readFileSync(present(process.argv[3]))]), parseAs: "text" })).data,
);
const total = present(quote.price).total;
const sealed = present(check.quote);
const artwork = present(present(sealed.order).placements[0]).artwork;

console.log(
  JSON.stringify({
    verdict: quote.verdict,
    price: `${total.amount} ${total.currency}`,
    declined: [clog.verdict, clog.reasons.map((reason) => reason.code)],
    refused: refused.errors.map((fault) => fault.pointer),
    seal: [check.status, sealed.reference, artwork.kind === "text" ? artwork.text : null],
    film: film.record.name,
    lines: String(lines).trimEnd().split("\n").length,
  }),
);
