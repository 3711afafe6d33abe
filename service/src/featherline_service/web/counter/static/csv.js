/** Lists as spreadsheets save them (RFC 4180): rows with named cells. */

const DELIMITERS = [",", ";", "\t", "|"];

/** The records of a text. @param {string} text @param {string} delimiter */
function records(text, delimiter) {
  /** @type {string[][]} */
  const rows = [];
  /** @type {string[]} */
  let row = [];
  let cell = "";
  let quoted = false;
  const end = () => {
    row.push(cell.trim());
    cell = "";
  };
  for (let at = 0; at < text.length; at += 1) {
    const letter = text[at] ?? "";
    if (quoted) {
      if (letter !== '"') cell += letter;
      else if (text[at + 1] === '"') {
        cell += '"';
        at += 1;
      } else quoted = false;
    } else if (letter === '"' && !cell.trim()) quoted = true;
    else if (letter === delimiter) end();
    else if (letter === "\n" || letter === "\r") {
      if (letter === "\r" && text[at + 1] === "\n") at += 1;
      end();
      rows.push(row);
      row = [];
    } else cell += letter;
  }
  end();
  rows.push(row);
  return rows.filter((cells) => cells.some(Boolean));
}

/** The name of a column, as the service takes names of fields. @param {string} title */
export function fieldName(title) {
  const bare = title.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase().replace(/ß/g, "ss").replace(/[^a-z0-9]+/g, "_").replace(/^[_0-9]+|_+$/g, "");
  return bare.slice(0, 32);
}

/**
 * The named cells of each row of a list, below its first line. Where a list has quotes that do not pair, the delimiter
 * with the most columns is taken all the same, and what is odd shows in its cells.
 * @param {string} text @returns {{ columns: string[], rows: Record<string, string>[] }}
 */
export function readList(text) {
  const bare = text.replace(/^\ufeff/, "").replace(/^"?sep=(.)"?\r?\n/i, "");
  const first = bare.split(/\r?\n/, 1)[0] ?? "";
  const delimiter = [...DELIMITERS].sort((a, b) => first.split(b).length - first.split(a).length)[0] ?? ",";
  const [head = [], ...rest] = records(bare, delimiter);
  const columns = head.map(fieldName);
  return {
    columns: [...new Set(columns.filter(Boolean))],
    rows: rest.map((cells) => Object.fromEntries(columns.map((name, at) => [name, (cells[at] ?? "").replace(/^="(.*)"$/, "$1")]).filter(([name]) => name))),
  };
}
