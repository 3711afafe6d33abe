// The checkout of a web shop, in TypeScript against types generated of the description (openapi-typescript).
//
// The cart was in the customer's hands, so the checkout believes nothing in it, and checks all of this:
//
// - the seal is the service's own, whole and in force, it is for this very order (its shoe, size, texts, owner and
//   policy), it was given to this shop's page, and its price was not set by hand: the service says so;
// - the price is by the policy that the page sells by, and by the revision of the book that the cart was begun with;
// - the order can be done without a trial.
//
// It charges the total in the seal, with the tax where there is one, and nothing that the cart says of a price.
import createClient from "openapi-fetch";
import type { components, paths } from "./described.js";

type Schemas = components["schemas"];

export interface CartLine {
  order: Schemas["Order"];
  seal: string;
}

// What this shop sells by, which its server knows and no cart can say.
export interface Sold {
  audience: string;
  policy: string;
  book: string;
}

export class Checkout {
  readonly #client;
  readonly #sold;

  constructor(url: string, key: string, sold: Sold) {
    this.#client = createClient<paths>({ baseUrl: url, headers: { Authorization: `Bearer ${key}` } });
    this.#sold = sold;
  }

  // Returns what the customer pays for a line, or null if the line needs a new offer.
  async pay({ order, seal }: CartLine): Promise<Schemas["Money"] | null> {
    const { audience, policy, book } = this.#sold;
    const { data } = await this.#client.POST("/v1/seals/check", { body: { seal, order, audience } });
    if (data === undefined || data.status !== "valid") return null;
    const { quote } = data;
    if (quote === null || quote.verdict !== "ready" || quote.policy !== policy || quote.book !== book) return null;
    return quote.tax?.gross ?? quote.total;
  }
}
