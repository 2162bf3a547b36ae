// How numbers are shown: three digits that count, thousands set apart, SI units.
import type { AreaBudget, Budget, Finding, Status } from "./dossier";

/** Thousands set apart; the browser's own way takes 20 ms and more when it is first asked. */
const grouped = (value: number) => String(Math.round(value)).replace(/\B(?=(\d{3})+$)/g, ",");

/** "3,010", "0.532", "1.29e-5". */
export function figure(value: number | null | undefined): string {
    if (value === null || value === undefined || !Number.isFinite(value)) return "–";
    const size = Math.abs(value);
    if (size === 0) return "0";
    if (size >= 1e9 || size < 1e-3) return value.toExponential(2);
    if (size >= 1000) return grouped(value);
    return Number(value.toPrecision(3)).toString();
}

/** A whole number: "2,145,917". */
export function count(value: number | null | undefined): string {
    return value === null || value === undefined ? "–" : grouped(value);
}

/** "94.4 %". */
export function percent(share: number): string {
    const value = share * 100;
    return `${value !== 0 && value < 0.01 ? "< 0.01" : Number(value.toPrecision(3))} %`;
}

const time_units: [string, number][] = [["y", 31557600], ["d", 86400], ["h", 3600], ["min", 60], ["s", 1], ["ms", 1e-3], ["µs", 1e-6]];

/** Seconds in the largest unit that leaves one or more of it: "42.3 ms", "11.7 h". */
export function seconds(value: number | null | undefined): string {
    if (value === null || value === undefined || !Number.isFinite(value)) return "unbounded";
    if (value === 0) return "0 s";
    const [name, size] = time_units.find(([, each]) => Math.abs(value) >= each) ?? ["µs", 1e-6];
    return `${figure(value / size)} ${name}`;
}

export function milliseconds(value: number | null | undefined): string {
    return value === null || value === undefined ? "–" : seconds(value / 1000);
}

/** "6 KiB". */
export function bytes(value: number): string {
    if (value >= 1048576 && value % 1048576 === 0) return `${value / 1048576} MiB`;
    if (value >= 1024) return `${figure(value / 1024)} KiB`;
    return `${value} B`;
}

/** Margin as a factor: "1.66", "> 1000". */
export function margin(value: number | null): string {
    if (value === null) return "unlimited";
    return value > 1000 ? "> 1000" : value.toFixed(value < 10 ? 2 : 1);
}

/** A finding's figure with its unit, times in a unit that suits. */
export function amount(value: number | null, unit: string): string {
    if (unit === "ms") return milliseconds(value);
    if (unit === "s") return seconds(value);
    if (unit === "of flash" || unit === "of it" || unit === "of units") return value === null ? "–" : `${percent(value)} ${unit}`;
    return `${figure(value)} ${unit === "C" ? "°C" : unit === "uF" ? "µF" : unit === "us" ? "µs" : unit}`;
}

export const status_words: Record<Status, string> = {
    holds: "holds",
    fails: "does not hold",
    unknown: "not known",
    informs: "not asked",
};

/** A mark beside the words, so that nothing rests on colour. */
export const status_marks: Record<Status, string> = { holds: "✓", fails: "✕", unknown: "?", informs: "·" };

/** The area is named where there are several. */
export function title_of(finding: Finding, budget: Budget): string {
    return budget.areas.length > 1 && finding.area ? `${finding.name}, ${finding.area}` : finding.name;
}

/** For links inside the page. */
export function id_of(finding: Finding): string {
    return `trace-${finding.name}-${finding.area}`.toLowerCase().replace(/[^a-z0-9]+/g, "-");
}

/** Requirements, those that fail or lack a figure first, then by margin. */
export function worst_first(findings: Finding[]): Finding[] {
    const rank = (finding: Finding) => (finding.status === "fails" ? 0 : finding.status === "unknown" ? 1 : 2);
    const size = (finding: Finding) => (finding.margin ?? Infinity) / finding.margin_min;
    return findings
        .filter((finding) => finding.status !== "informs")
        .sort((a, b) => rank(a) - rank(b) || size(a) - size(b));
}

export function area_words(area: AreaBudget): string {
    return `${area.ring_blocks} ring blocks of ${bytes(area.ring_block_bytes)}, units of ${area.unit_bytes} B`;
}

/** The line that plays a case of the power-cut proof again, for a shell. */
export function command(file: string, replay: string): string {
    const word = /^[\w./~+:@-]+$/.test(file) ? file : `'${file.replace(/'/g, "'\\''")}'`;
    return `perdure cut ${word} --replay ${replay}`;
}
