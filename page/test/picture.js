// The picture in README.md: the example's live page. node picture.js PROGRAM EXAMPLE OUT.png
import { launch, open } from "./browser.js";

const [program, example, out] = process.argv.slice(2);
const server = await open(program, example);
const browser = await launch();
try {
    const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
    await page.goto(server.address);
    await page.locator("#what-if .chart").first().waitFor({ timeout: 60000 });
    await page.waitForFunction(() => document.getElementById("took")?.dataset.coarse !== "true");
    await page.evaluate(() => document.getElementById("took")?.remove()); // another each time
    await page.screenshot({ path: out });
} finally {
    await browser.close();
    await server.end();
}
