// How soon the live page can be used after `perdure open`: the editor takes keys, the verdict and its table are painted.
// The browser is running already, as a user's is; each run has a new program, a new address and a new page.
//   node usable.js PROGRAM FILE [RUNS]
// Prints JSON: by step in milliseconds the median, the least, the longest and the middle half over all runs; and the
// whole as a multiple of what an empty page from a plain server takes in this browser, on this machine, in between. In
// five more runs the processor time of the page's main thread until then.
import { createServer } from "node:http";
import { loadavg, cpus } from "node:os";
import { end_all, launch, open } from "./browser.js";

const [program, file, runs_text = "20"] = process.argv.slice(2);
const runs = Number(runs_text);

/** Runs in the page: notes when all of `wanted` is there and has been painted. */
function note_when_there(wanted) {
    const look = () => {
        const there = document.body && wanted.every((each) => document.querySelector(each));
        if (!there) return requestAnimationFrame(look);
        // Behind the frame that shows it, which is painted when this callback is done.
        const { port1, port2 } = new MessageChannel();
        port1.onmessage = () => {
            performance.mark("there");
            window.there_at = performance.timeOrigin + performance.now();
        };
        port2.postMessage(null);
    };
    requestAnimationFrame(look);
}

/** Processor time of the page's main thread up to that mark: unlike the clock it says the same on a busy machine. */
function main_thread_ms(trace) {
    const events = JSON.parse(trace.toString()).traceEvents;
    const mark = events.find((each) => each.name === "there" && each.cat.includes("user_timing"));
    const tasks = events.filter((each) => each.name.endsWith("RunTask") && each.pid === mark.pid && each.tid === mark.tid && each.ts < mark.ts);
    return tasks.reduce((sum, each) => sum + (each.tdur ?? 0), 0) / 1000;
}

async function visit(browser, address, wanted, trace = false) {
    const context = await browser.newContext({ viewport: { width: 1440, height: 900 } });
    const page = await context.newPage();
    if (trace) await browser.startTracing(page, { categories: ["toplevel", "blink.user_timing"] });
    await page.addInitScript(`(${note_when_there})(${JSON.stringify(wanted)})`);
    const begun = await address();
    await page.goto(begun.url, { waitUntil: "commit" });
    await page.waitForFunction(() => window.there_at !== undefined, null, { timeout: 60000, polling: 50 });
    const times = await page.evaluate(() => {
        const navigation = performance.getEntriesByType("navigation")[0];
        const at = (time) => performance.timeOrigin + time;
        return { asked: at(navigation.requestStart), first_byte: at(navigation.responseStart), last_byte: at(navigation.responseEnd), script_ran: at(navigation.domContentLoadedEventEnd), there: window.there_at };
    });
    const main_ms = trace ? main_thread_ms(await browser.stopTracing()) : 0;
    await context.close();
    return { main_ms, ...times, begun: begun.at, listening: begun.listening };
}

const clock = () => performance.timeOrigin + performance.now();
const middle = (all) => {
    const sorted = [...all].sort((a, b) => a - b);
    const at = (share) => Math.round(10 * sorted[Math.round(share * (sorted.length - 1))]) / 10;
    return { median: at(0.5), least: at(0), quarter: at(0.25), three_quarters: at(0.75), longest: at(1) };
};

const browser = await launch();
const plain = createServer((_, response) => response.setHeader("Content-Type", "text/html").end("<!doctype html><title>empty</title><p id=all>here</p>"));
await new Promise((done) => plain.listen(0, "127.0.0.1", done));
try {
    const live = [];
    const empty = [];
    const load_before = loadavg()[0];
    const visit_live = async (trace) => {
        let server;
        const one = await visit(browser, async () => {
            const at = clock();
            server = await open(program, file);
            return { url: server.address, at, listening: clock() };
        }, [".cm-content[contenteditable=true]", ".bar .short", ".margins tbody tr"], trace);
        await server.end();
        return one;
    };
    for (let i = -1; i < runs; i++) { // the first warms the browser up
        const one = await visit_live(false);
        const other = await visit(browser, async () => ({ url: `http://127.0.0.1:${plain.address().port}/`, at: clock(), listening: clock() }), ["#all"]);
        if (i < 0) continue;
        live.push(one);
        empty.push(other);
    }
    const main = [];
    for (let i = 0; i < 5; i++) main.push((await visit_live(true)).main_ms);
    const step = (from, to) => middle(live.map((each) => each[to] - each[from]));
    const usable = step("begun", "there");
    const empty_ms = middle(empty.map((each) => each.there - each.begun));
    console.log(JSON.stringify({
        runs,
        cores: cpus().length,
        load: [load_before, loadavg()[0]],
        usable_ms: usable,
        steps_ms: { program_listens: step("begun", "listening"), browser_asks: step("listening", "asked"), answer_begins: step("asked", "first_byte"), answer_ends: step("first_byte", "last_byte"), script_ran: step("last_byte", "script_ran"), painted: step("script_ran", "there") },
        main_thread_cpu_ms: middle(main),
        empty_page_ms: empty_ms,
        ratio: Math.round(100 * (usable.median / empty_ms.median)) / 100,
    }, null, 2));
} finally {
    end_all();
    plain.close();
    await browser.close();
}
