/** What the first view needs of the service, asked for while the other modules are on their way. */

import { ask } from "./service.js";
import { load, preferred } from "./words.js";

export const words = load(preferred());
export const catalogue = ask("/v1/catalogue"); // in the language that is loaded
for (const one of [words, catalogue]) one.catch(() => {}); // whoever takes it handles its failure
