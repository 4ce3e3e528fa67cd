// The audits that the npm package graphql-http publishes. They follow the drafts before the September 2026 edition, so
// some of their wishes contradict it: known-differences.json says which.

import { createRequire } from "node:module";
import { join } from "node:path";

/** Runs every audit against a server, as its owner. */
export async function runAudits(server, packages) {
  const { auditServer } = createRequire(join(packages, "package.json"))("graphql-http");
  const asOwner = (url, options = {}) =>
    fetch(url, { ...options, headers: { ...options.headers, authorization: `Bearer ${server.token}` } });
  const audits = await auditServer({ url: server.url, fetchFn: asOwner });
  return audits.map((audit) => ({
    id: audit.id,
    level: audit.name.split(" ")[0],
    title: audit.name,
    ok: audit.status === "ok",
    detail: [audit.reason, audit.response && `HTTP ${audit.response.status}`].filter(Boolean).join(", "),
  }));
}
