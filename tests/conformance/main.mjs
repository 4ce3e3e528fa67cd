//   node main.mjs PROGRAM PACKAGES
// PROGRAM is the built `nameplate`, PACKAGES the folder where npm installed what package.json names.

import { readFileSync } from "node:fs";

import { runAudits } from "./audits.mjs";
import { runChecks } from "./checks.mjs";
import { judge } from "./judge.mjs";
import { startServer } from "./server.mjs";

const [program, packages] = process.argv.slice(2);
const known = JSON.parse(readFileSync(new URL("known-differences.json", import.meta.url), "utf8"));

const results = [];
for (const mode of ["production", "development"]) {
  const server = await startServer(program, packages, mode);
  try {
    const found = [...(await runAudits(server, packages)), ...(await runChecks(server))];
    results.push(...found.map((result) => ({ mode, ...result })));
  } finally {
    await server.stop();
  }
}

for (const level of ["MUST", "SAFE", "SHOULD", "MAY"]) {
  const ofLevel = results.filter((result) => result.level === level);
  const hold = ofLevel.filter((result) => result.ok).length;
  console.log(`${level}: ${hold} of ${ofLevel.length} hold, ${ofLevel.length - hold} differ`);
}
const complaints = judge(results, known);
for (const complaint of complaints) console.log(`FAIL ${complaint}`);
const passed = results.filter((result) => result.ok).length;
console.log(`${passed} passed, ${complaints.length} failed`);
process.exitCode = complaints.length > 0 ? 1 : 0;
