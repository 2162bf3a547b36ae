// Chromium without a window, and what the tests of the page share.
import { mkdir, writeFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { join } from "node:path";
import { readFileSync } from "node:fs";
import { spawn } from "node:child_process";
import { chromium } from "playwright-core";

const axe_source = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export async function launch() {
    return chromium.launch({
        executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
        args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
    });
}

const running = new Set();
/** Ends every program that is still open, as after a failure. */
export function end_all() {
    for (const child of running) child.kill("SIGKILL");
}

/** Runs `perdure open`; gives its address, and how to end it. */
export async function open(program, file) {
    const begun = performance.now();
    const child = spawn(program, ["open", file, "--no-browser", "--json"], { stdio: ["ignore", "pipe", "inherit"] });
    running.add(child);
    const ended = new Promise((resolve) => child.on("exit", (code) => (running.delete(child), resolve(code))));
    const address = await new Promise((resolve, reject) => {
        let text = "";
        child.stdout.on("data", (piece) => {
            text += piece;
            if (text.includes("\n")) resolve(JSON.parse(text).address);
        });
        child.on("exit", () => reject(new Error(`perdure open ended: ${text}`)));
    });
    return { address, begun, end: () => (child.kill("SIGINT"), ended) };
}

/** Collects what must not happen on a page: errors, and requests to anywhere but `allowed`. */
export function watch(page, allowed) {
    const wrong = [];
    page.on("pageerror", (error) => wrong.push(`error on the page: ${error.message}`));
    page.on("console", (message) => message.type() === "error" && wrong.push(`console: ${message.text()}`));
    page.on("request", (request) => {
        if (!allowed.some((begin) => request.url().startsWith(begin))) wrong.push(`a request to ${request.url()}`);
    });
    return wrong;
}

/** What axe-core finds, WCAG 2 A and AA; the page's own policy lets no foreign script in, so it is evaluated. */
export async function axe(page) {
    await page.evaluate(axe_source);
    const result = await page.evaluate(() => window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"] }));
    return result.violations.flatMap((violation) => violation.nodes.map((node) => `${violation.id}: ${node.target.join(" ")}: ${node.failureSummary?.split("\n")[1]?.trim() ?? ""}`));
}

/** Screenshots and figures are kept as build artefacts. */
export class Kept {
    figures = {};
    constructor(folder) {
        this.folder = folder;
    }
    async begin() {
        await mkdir(this.folder, { recursive: true });
    }
    path(name) {
        return join(this.folder, name);
    }
    async shot(page, name, whole = false) {
        await page.screenshot({ path: this.path(`${name}.png`), fullPage: whole });
    }
    async end() {
        await writeFile(this.path("figures.json"), JSON.stringify(this.figures, null, 2));
        console.log(JSON.stringify(this.figures));
    }
}
