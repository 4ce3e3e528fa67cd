// Drives the customer's page in a real browser and says what is wrong with it.
//
//   node drive.mjs PLAN.json
//
// The plan names the browser, the folder of packages, where screenshots go, and links to estimates, each for one
// scenario. Every failure is one line on standard error and one screenshot; the exit code is 1 if there was any.

import { mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";

const plan = JSON.parse(readFileSync(process.argv[2], "utf8"));
const load = createRequire(join(plan.packages, "package.json"));
const { chromium } = load("playwright-core");
const axe = readFileSync(load.resolve("axe-core/axe.min.js"), "utf8");

const PHONE = { width: 360, height: 740 };
const DESK = { width: 1000, height: 800 };
const failures = [];

const home = mkdtempSync(join(tmpdir(), "nameplate-browser-"));
const browser = await chromium.launch({
  executablePath: plan.browser,
  headless: true,
  env: { ...process.env, HOME: home },
  args: [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
  ],
});

// One scenario in a browser profile of its own. What it expects and does not find is a failure with a picture.
async function scenario(name, { viewport = PHONE, scripts = true, bypassCSP = false } = {}, steps) {
  const context = await browser.newContext({ viewport, javaScriptEnabled: scripts, bypassCSP, locale: "en-US" });
  context.setDefaultTimeout(10_000);
  const page = await context.newPage();
  const problems = [];
  page.on("console", (message) => {
    if (message.type() === "error" && !message.text().includes("status of 4")) problems.push(message.text());
  });
  page.on("requestfailed", (request) => {
    // What becomes a download ends as a page.
    if (!request.url().endsWith(".pdf")) problems.push(`${request.url()} could not be loaded`);
  });
  const expect = (holds, what) => {
    if (!holds) problems.push(what);
  };
  try {
    await steps(page, expect);
  } catch (error) {
    problems.push(String(error.message ?? error).split("\n")[0]);
  }
  if (problems.length > 0) {
    mkdirSync(plan.screenshots, { recursive: true });
    const file = join(plan.screenshots, `${name.replaceAll(/[^a-z0-9]+/g, "-")}.png`);
    await page.screenshot({ path: file, fullPage: true }).catch(() => {});
    for (const problem of problems) failures.push(`${name}: ${problem} (see ${file})`);
  }
  await context.close();
}

// Nothing wider than the screen, nothing too small to hit (WCAG 2.2, 2.5.8: 24 by 24 pixels).
async function fits(page, expect) {
  const measured = await page.evaluate(() => {
    const small = [];
    for (const target of document.querySelectorAll("a, button, input:not([type=hidden]), textarea")) {
      // A label that holds its field is hit in its place.
      const box = (target.closest("label") ?? target).getBoundingClientRect();
      // A link within a sentence is exempt (2.5.8, inline); one that is off the screen waits for the keyboard.
      const isInline = target.tagName === "A" && target.closest("p")?.textContent.trim() !== target.textContent.trim();
      if (!isInline && box.bottom > 0 && (box.width < 24 || box.height < 24)) small.push(target.outerHTML.slice(0, 80));
    }
    return { width: document.documentElement.scrollWidth, seen: document.documentElement.clientWidth, small };
  });
  expect(measured.width <= measured.seen, `the page is ${measured.width} px wide on a screen of ${measured.seen}`);
  expect(measured.small.length === 0, `too small to hit: ${measured.small.join(" | ")}`);
}

// WCAG 2.2 A and AA as far as a program can tell. The policy of the page forbids scripts, so it is put in from outside.
async function isAccessible(page, expect) {
  const session = await page.context().newCDPSession(page);
  await session.send("Runtime.evaluate", { expression: axe });
  const { result } = await session.send("Runtime.evaluate", {
    expression:
      "axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] })" +
      ".then((report) => report.violations.map((rule) => rule.id + ': ' + rule.nodes.map((node) => node.target).join(' ')))",
    awaitPromise: true,
    returnByValue: true,
  });
  for (const violation of result.value ?? ["axe did not answer"]) expect(false, `axe: ${violation}`);
}

// The keyboard reaches everything that can be answered, in the order in which it is read.
async function isReachedByKeyboard(page, expect) {
  const met = [];
  for (let step = 0; step < 40; step += 1) {
    await page.keyboard.press("Tab");
    const at = await page.evaluate(() => {
      const here = document.activeElement;
      if (!here || here === document.body) return null;
      const top = here.getBoundingClientRect().top + window.scrollY;
      const style = getComputedStyle(here);
      return { name: here.name || here.textContent.trim(), top, seen: style.outlineStyle !== "none" };
    });
    if (!at) break;
    met.push(at);
  }
  const names = met.map((at) => at.name);
  for (const wanted of ["Go to your answer", "option", "name", "Accept this estimate", "question", "reason", "Decline this estimate"]) {
    expect(names.includes(wanted), `the keyboard does not reach "${wanted}": ${names.join(", ")}`);
  }
  expect(met.every((at) => at.seen), "something that has the focus does not show it");
  const tops = met.slice(1).map((at) => at.top);
  expect(tops.every((top, at) => at === 0 || top >= tops[at - 1] - 2), `the focus jumps up: ${names.join(", ")}`);
}

async function open(page, url, expect) {
  const answer = await page.goto(url);
  expect(answer.status() === 200, `status ${answer.status()}`);
}

async function accept(page, name) {
  const options = page.locator("input[name=option]");
  await options.first().check();
  await page.getByLabel("Your full name").fill(name);
  await page.getByRole("button", { name: "Accept this estimate" }).click();
}

const text = (page) => page.locator("body").innerText();

// A link that was used says so, and nothing of what it was for.
async function isUsed(page, link, expect) {
  const answer = await page.goto(link);
  expect(answer.status() === 410, `status ${answer.status()} of a used link`);
  const said = await text(page);
  expect(said.includes("This link was used"), "a used link does not say so");
  for (const secret of ["Fenwick", "USD", "Norvane", "PDF"]) expect(!said.includes(secret), `a used link tells ${secret}`);
  expect((await page.locator("form").count()) === 0, "a used link still takes answers");
  const file = await page.request.get(`${link}/estimate.pdf`);
  expect(file.status() === 410, `status ${file.status()} of the PDF of a used link`);
}

await scenario("read on a phone", {}, async (page, expect) => {
  await open(page, plan.links.read, expect);
  await fits(page, expect);
  await isAccessible(page, expect);
  const pictures = await page.locator("figure img").evaluateAll((all) => all.map((one) => one.scrollIntoView()).length);
  expect(pictures === 1, `${pictures} pictures`);
  await page.waitForFunction(() => [...document.images].every((image) => image.complete && image.naturalWidth > 0));
  await page.evaluate(() => window.scrollTo(0, 0));
  await isReachedByKeyboard(page, expect);
});

await scenario("read at a desk", { viewport: DESK }, async (page, expect) => {
  await open(page, plan.links.read, expect);
  await fits(page, expect);
  await isAccessible(page, expect);
});

await scenario("read in large print", { viewport: { width: 320, height: 600 }, bypassCSP: true }, async (page, expect) => {
  // WCAG 1.4.10: at 320 pixels nothing scrolls sideways; 1.4.4: text may be twice as large.
  await open(page, plan.links.read, expect);
  await page.addStyleTag({ content: "html { font-size: 200% }" });
  await fits(page, expect);
});

for (const [name, scripts] of [["accept", true], ["accept without scripts", false]]) {
  const link = scripts ? plan.links.accept : plan.links.accept_plain;
  await scenario(name, { scripts }, async (page, expect) => {
    await open(page, link, expect);
    await accept(page, "Odalys Fenwick");
    expect((await text(page)).includes("Thank you"), "no thanks for accepting");
    expect((await text(page)).includes("Odalys Fenwick"), "the name is not on the answer");
    if (scripts) {
      await fits(page, expect);
      await isAccessible(page, expect);
    }
    await isUsed(page, link, expect);
  });
}

await scenario("accept twice from two windows", {}, async (page, expect) => {
  await open(page, plan.links.twice, expect);
  const second = await page.context().newPage();
  await second.goto(plan.links.twice);
  await accept(page, "Odalys Fenwick");
  await accept(second, "Somebody Else");
  expect((await text(second)).includes("This link was used"), "the second answer was not turned away");
  await isUsed(second, plan.links.twice, expect);
});

await scenario("accept without a name", { scripts: false }, async (page, expect) => {
  await open(page, plan.links.decline, expect);
  await page.locator("input[name=option]").first().check();
  await page.locator("input[name=name]").evaluate((field) => field.removeAttribute("required")).catch(() => {});
  await page.getByLabel("Your full name").fill(" ");
  await page.getByRole("button", { name: "Accept this estimate" }).click();
  expect((await page.getByRole("alert").innerText()).includes("Type your full name."), "the missing name is not said");
});

await scenario("decline", {}, async (page, expect) => {
  await open(page, plan.links.decline, expect);
  await page.getByLabel("Reason").fill("We bought a new one.");
  await page.getByRole("button", { name: "Decline this estimate" }).click();
  expect((await text(page)).includes("You declined"), "declining is not confirmed");
  await isAccessible(page, expect);
  await isUsed(page, plan.links.decline, expect);
  await isAccessible(page, expect);
});

await scenario("ask", { scripts: false }, async (page, expect) => {
  await open(page, plan.links.ask, expect);
  await page.getByLabel("Your question").fill("Can you come on Friday?");
  await page.getByRole("button", { name: "Send this question" }).click();
  expect((await text(page)).includes("Can you come on Friday?"), "the question is not shown");
  // Reading the page again sends nothing again.
  await page.reload();
  const asked = (await text(page)).split("Can you come on Friday?").length - 1;
  expect(asked === 1, `the question is there ${asked} times`);
  expect((await page.getByRole("button", { name: "Accept this estimate" }).count()) === 1, "a question stops the answer");
});

const dead = [];
for (const [name, link] of Object.entries(plan.dead)) {
  await scenario(`a link that is ${name}`, {}, async (page, expect) => {
    const answer = await page.goto(link);
    expect(answer.status() === 404, `status ${answer.status()}`);
    const said = await text(page);
    dead.push(said);
    expect(said.includes("This link does not open"), "it does not say that it does not open");
    for (const secret of ["Fenwick", "Total", "Norvane"]) expect(!said.includes(secret), `it tells ${secret}`);
    await fits(page, expect);
    await isAccessible(page, expect);
  });
}
if (new Set(dead).size > 1) failures.push("dead links differ from one another");

await browser.close();
rmSync(home, { recursive: true, force: true });
for (const failure of failures) console.error(failure);
process.exit(failures.length > 0 ? 1 : 0);
