// Pays carts with the checkout of the examples: `carts.js URL KEY SOLD CARTS` prints what each costs, or null.
import { readFileSync } from "node:fs";
import { Checkout, type CartLine, type Sold } from "./checkout.js";
import { present } from "./orders.js";

const sold: Sold = JSON.parse(present(process.argv[4]));
const carts: CartLine[] = JSON.parse(readFileSync(present(process.argv[5]), "utf8"));
const checkout = new Checkout(present(process.argv[2]), present(process.argv[3]), sold);
const paid: (string | null)[] = [];
for (const cart of carts) paid.push((await checkout.pay(cart))?.amount ?? null);
console.log(JSON.stringify(paid));
