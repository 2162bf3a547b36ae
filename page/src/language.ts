// What the editor knows of the project file: where in it a position is, which keys and words fit there.
import { StreamLanguage } from "@codemirror/language";
import { toml } from "@codemirror/legacy-modes/mode/toml";
import type { Completion, CompletionContext, CompletionResult } from "@codemirror/autocomplete";
import type { EditorState, Text } from "@codemirror/state";
import type { EditorView, Tooltip } from "@codemirror/view";
import keys from "virtual:keys";
import type { Part } from "./dossier";

export const project_language = StreamLanguage.define(toml);

/** The table that a position belongs to: "product", "record", "record.fields" ... */
export function section_at(document: Text, position: number): string {
    const line = document.lineAt(position);
    let brackets = 0;
    for (let number = line.number; number >= 1; number--) {
        const text = document.line(number).text;
        const before = number === line.number ? text.slice(0, position - line.from) : text;
        const heading = /^\s*\[+\s*([A-Za-z_]+)(?:\.[A-Za-z0-9_]+)?(?:\.([a-z]+))?\s*\]+/.exec(number === line.number ? text : before);
        if (heading && !/^\s*\[\s*\{/.test(before)) {
            const name = heading[1]!;
            const dotted = /^\s*\[+\s*([a-z_]+)\.(pair|input)\s*\]/.exec(text);
            if (dotted) return `${dotted[1]}.${dotted[2]}`;
            return heading[2] ? `${name}.${heading[2]}` : name;
        }
        const code = before.replace(/"[^"]*"/g, '""').replace(/#.*/, "");
        for (const sign of [...code].reverse()) {
            if (sign === "]" || sign === "}") brackets--;
            if (sign === "[" || sign === "{") brackets++;
        }
        const list = /^\s*(fields|saves|pair|input)\s*=/.exec(code);
        if (list && brackets > 0) {
            const outer = section_at(document, Math.max(0, document.line(number).from - 1));
            return `${outer.split(".")[0]}.${list[1]}`;
        }
        if (list) brackets = 0;
    }
    return "";
}

const sections = ["[product]", "[part]", "[area.store]", "[record.NAME]", "[supply]", "[require]", "[[profile]]", "[endurance]", "[retention]", "[[retention.pair]]", "[[aged]]", "[[deadline]]", "[energy]", "[qualification]", "[wear_out]", "[uncertainty]", "[[uncertainty.input]]", "[errors]"];

const words: Record<string, string[]> = {
    kind: ["value", "total", "log"],
    type: ["u8", "u16", "u32", "u64", "i8", "i16", "i32", "i64", "f32", "f64", "bytes:16"],
    size: ["find it"],
    capacitance: ["find it"],
    batch: ["find it"],
    read_while_write: ["stall", "dual-bank", "data-bank", "sector", "boot-section", "yes", "unknown"],
    program_rule: ["bits-one-way", "once", "once-ecc", "once-ecc-or-zero", "once-or-zero"],
    counts: ["call", "operation"],
    code: ["flash", "other-bank", "ram"],
    law: ["weibull", "lognormal", "uniform", "triangular"],
    what: ["saves", "starts", "endurance"],
};

/** Keys at the start of a line or inside a table, part ids and words inside quotes. */
export function completions(parts: Part[]) {
    return (context: CompletionContext): CompletionResult | null => {
        const line = context.state.doc.lineAt(context.pos);
        const before = line.text.slice(0, context.pos - line.from);
        if (/#/.test(before.replace(/"[^"]*"?/g, ""))) return null;
        const quoted = /([a-z_]+)\s*=\s*"([^"]*)$/.exec(before);
        if (quoted) {
            const from = context.pos - quoted[2]!.length;
            if (quoted[1] === "catalog") {
                return { from, options: parts.map((part): Completion => ({ label: part.id, detail: part.maker, info: part.ready ? part.family : part.why_not, boost: part.ready ? 1 : 0 })) };
            }
            const some = words[quoted[1]!];
            return some ? { from, options: some.map((label): Completion => ({ label })) } : null;
        }
        if (/^\s*\[[\w.[]*$/.test(before)) {
            return { from: line.from + before.indexOf("["), options: sections.map((label): Completion => ({ label, type: "keyword" })) };
        }
        const word = /(?:^\s*|[{,]\s*)([a-z_]*)$/.exec(before);
        if (!word || (word[1] === "" && !context.explicit)) return null;
        const found = keys[section_at(context.state.doc, context.pos)];
        if (!found) return null;
        return {
            from: context.pos - word[1]!.length,
            options: found.map((each): Completion => ({
                label: each.key,
                type: "property",
                detail: each.unit,
                info: `${each.meaning}${each.standing ? `. Default: ${each.standing}` : ""}`,
                apply: each.example.startsWith(`${each.key} =`) ? each.example : `${each.key} = `,
            })),
        };
    };
}

/** What a key under the pointer means, with its unit and its standing value. */
export function explain(view: EditorView, position: number): Tooltip | null {
    const line = view.state.doc.lineAt(position);
    const at = position - line.from;
    for (const match of line.text.matchAll(/([a-z_]+)\s*=/g)) {
        const begin = match.index;
        const end = begin + match[1]!.length;
        if (at < begin || at > end) continue;
        const found = keys[section_at(view.state.doc, position)]?.find((each) => each.key === match[1]);
        if (!found) return null;
        return {
            pos: line.from + begin,
            end: line.from + end,
            above: true,
            create: () => {
                const dom = document.createElement("div");
                dom.className = "explained";
                const head = dom.appendChild(document.createElement("b"));
                head.textContent = `${found.key}${found.unit ? ` (${found.unit})` : ""}`;
                const body = dom.appendChild(document.createElement("p"));
                body.textContent = `${found.meaning}.`;
                const foot = dom.appendChild(document.createElement("p"));
                foot.textContent = [found.standing && `Default: ${found.standing}`, found.example && `Such as: ${found.example}`].filter(Boolean).join(". ");
                return { dom };
            },
        };
    }
    return null;
}

/** The stretch of text that an error at this place is about: the word, text or number that begins there. */
export function stretch_at(state: EditorState, line_number: number, column: number): { from: number; to: number } {
    const line = state.doc.line(Math.min(Math.max(1, line_number), state.doc.lines));
    const from = Math.min(line.from + Math.max(0, column - 1), line.to);
    const rest = line.text.slice(from - line.from);
    const length = /^(?:"[^"]*"?|[\w.+-]+|.)/.exec(rest)?.[0].length ?? 0;
    return length > 0 ? { from, to: from + length } : { from: line.from, to: line.to };
}

