// Asks a running service through openapi-fetch, typed by openapi-typescript: `fetch.js URL LINES` prints what it read.
import { readFileSync } from "node:fs";
import createClient from "openapi-fetch";
import type { components, paths } from "./described.js";
import { CLOG, DECK, present, structured, type Texts } from "./orders.js";

type Schemas = components["schemas"];

function order({ shoe, size, panel, colour, text, font, height }: Texts): Schemas["Order"] {
  const artwork: Schemas["TextArtwork"] = { kind: "text", text, font, height };
  const placement: Schemas["Placement"] = { panel, film: "smooth", colour, artwork };
  const worn: Schemas["BookShoe"] = { kind: "book", shoe, size: { system: "EU", value: size } };
  return { shoe: worn, placements: [placement], reference: "K-2041" };
}

const client = createClient<paths>({ baseUrl: present(process.argv[2]) });

const quote = structured((await client.POST("/v1/quotes", { body: order(DECK) })).data);
const clog = structured((await client.POST("/v1/quotes", { body: order(CLOG) })).data);
const refused = present((await client.POST("/v1/quotes", { body: { ...order(DECK), press: "mangle" } })).error);
const check = present((await client.POST("/v1/seals/check", { body: { seal: present(quote.seal).text } })).data);
const film = present((await client.GET("/v1/book/films/{id}", { params: { path: { id: "smooth" } } })).data);
const lines = present(
  (
    await client.POST("/v1/bulk", {
      body: readFileSync(present(process.argv[3]), "utf8"),
      bodySerializer: (text: string) => text,
      headers: { "Content-Type": "application/jsonl" },
      parseAs: "text",
    })
  ).data,
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
    lines: lines.trimEnd().split("\n").length,
  }),
);
