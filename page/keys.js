// Reads the tables of docs/project-file.md: the keys that the editor completes and explains.
import { readFile } from "node:fs/promises";

const cells = (line) => line.split("|").slice(1, -1).map((cell) => cell.trim());
const plain = (text) => text.replace(/`/g, "").replace(/\*\*/g, "").replace(/\[([^\]]*)\]\([^)]*\)/g, "$1");

/** By section ("product", "record"; "record.fields" for tables inside): key, unit, standing value, meaning. */
export async function keys_of(path) {
    const lines = (await readFile(path, "utf8")).split("\n");
    const inside = { record: ["", "fields", "saves"], endurance: ["", "pair"], uncertainty: ["", "input"] };
    const out = {};
    let section = "";
    let table = -1;
    for (let i = 0; i < lines.length; i++) {
        const heading = /^## \[+([a-z_]+)/.exec(lines[i]);
        if (heading) {
            section = heading[1];
            table = -1;
        } else if (lines[i].startsWith("## ")) {
            section = "";
        }
        if (!section || !/^\| key \|/.test(lines[i])) continue;
        const columns = cells(lines[i]);
        table++;
        const part = inside[section]?.[table] ?? "";
        const name = part ? `${section}.${part}` : section;
        for (i += 2; lines[i]?.startsWith("|"); i++) {
            const row = Object.fromEntries(cells(lines[i]).map((cell, at) => [columns[at], cell]));
            for (const [, key] of row.key.matchAll(/`([a-z_]+)`/g)) {
                (out[name] ??= []).push({ key, unit: plain(row.unit), standing: plain(row.default), meaning: plain(row.meaning), example: plain(row.example ?? "") });
            }
        }
    }
    const count = Object.values(out).flat().length;
    if (count < 100) throw new Error(`${path}: only ${count} keys found; were its tables changed?`);
    return out;
}
