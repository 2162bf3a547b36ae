// Builds the page: each entry becomes one HTML file with its style and script inside. node build.js OUT_FOLDER
import { mkdir, readFile, writeFile } from "node:fs/promises";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { gzipSync } from "node:zlib";
import { svelte, vitePreprocess } from "@sveltejs/vite-plugin-svelte";
import { build } from "vite";
import { keys_of } from "./keys.js";

const here = dirname(fileURLToPath(import.meta.url));
const folder = process.argv[2] ?? join(here, "dist");

/** import keys from "virtual:keys" gives the keys of the project file, as its document describes them. */
const project_keys = {
    name: "project-keys",
    resolveId: (id) => (id === "virtual:keys" ? "\0keys" : null),
    load: async (id) => (id === "\0keys" ? `export default ${JSON.stringify(await keys_of(join(here, "../docs/project-file.md")))}` : null),
};

/** Script and style of one entry, bundled and made small. */
async function bundle(entry) {
    const result = await build({
        root: here,
        configFile: false,
        logLevel: "warn",
        plugins: [project_keys, svelte({ preprocess: vitePreprocess(), compilerOptions: { runes: true } })],
        build: {
            write: false,
            target: "es2022",
            cssCodeSplit: false,
            modulePreload: false,
            rollupOptions: { input: join(here, entry), output: { inlineDynamicImports: true } },
        },
    });
    const files = result.output;
    const script = files.filter((file) => file.type === "chunk").map((file) => file.code);
    const style = files.filter((file) => file.type === "asset" && file.fileName.endsWith(".css"));
    if (script.length !== 1) throw new Error(`${entry}: ${script.length} scripts instead of one`);
    return { script: script[0], style: style.map((file) => file.source).join("\n") };
}

await mkdir(folder, { recursive: true });
for (const name of ["report", "live"]) {
    const frame = await readFile(join(here, `${name}.html`), "utf8").catch(() => null);
    if (frame === null) continue;
    const { script, style } = await bundle(`src/${name}.ts`);
    // By functions: a replacement text would take "$&" in the script for a pattern. No script may end its own element.
    const page = frame
        .replace("<!--style-->", () => `<style>${style}</style>`)
        .replace("<!--script-->", () => `<script type="module">${script.replaceAll("</script", "<\\/script")}</script>`);
    await writeFile(join(folder, `${name}.html`), page);
    const kilobytes = (gzipSync(script).length / 1024).toFixed(1);
    console.log(`${name}.html: ${(page.length / 1024).toFixed(0)} KiB, its script ${kilobytes} KiB gzipped`);
}
