// What the September 2026 edition of GraphQL over HTTP asks and the published audits do not, and what keeps a browser's
// user safe from other sites. One entry a check: a request, and what must be true of the reply.
//
// Levels: MUST and SHOULD as in the specification; SAFE is our own and as strict as MUST.

const GRAPHQL = "application/graphql-response+json";
const body = (query, more = {}) => JSON.stringify({ query, ...more });
const ran = (reply) => Boolean(reply.json?.data);
const refused = (reply) => reply.status >= 400 && reply.status < 500 && !ran(reply);
const status = (...wanted) => (reply) => wanted.includes(reply.status);
const neverRan = (reply) => Boolean(reply.json) && !("data" in reply.json);
const times = (count, make) => Array.from({ length: count }, (_, index) => make(index));

const PLAIN = "{ __typename }";
const PARTIAL = '{ __typename node(id: "no such node") { id } }';
const UNKNOWN_FIELD = "{ noFieldHasThisName }";
const NOT_COERCIBLE = body("query($yes: Boolean!) { __typename @skip(if: $yes) }", { variables: { yes: "perhaps" } });
const FORM_PART = '--edge\r\nContent-Disposition: form-data; name="operations"\r\n\r\n' + body(PLAIN) +
  '\r\n--edge\r\nContent-Disposition: form-data; name="map"\r\n\r\n{}\r\n--edge--\r\n';
const FORM = "multipart/form-data; boundary=edge";
const LAYERS = 12;
const DEEP = "{ __schema { types " + "{ fields { type { fields { type ".repeat(LAYERS) + "{ name }" + " } } } }".repeat(LAYERS) + " } }";

const answers = [
  { id: "media-type", level: "MUST", title: "answers in the media type of GraphQL when asked to",
    ask: {}, passes: (r) => r.status === 200 && r.type.startsWith(GRAPHQL) && ran(r) },
  { id: "media-type-any", level: "MUST", title: "answers a client that takes anything",
    ask: { accept: "*/*" }, passes: (r) => r.status === 200 && ran(r) },
  { id: "media-type-json", level: "SHOULD", title: "answers in plain JSON when only that is taken",
    ask: { accept: "application/json" }, passes: (r) => r.status === 200 && r.type.startsWith("application/json") && ran(r) },
  { id: "media-type-none", level: "SHOULD", title: "says 406 when it has nothing the client takes",
    ask: { accept: "text/html" }, passes: status(406) },
  { id: "no-store", level: "SHOULD", title: "lets nobody keep an answer",
    ask: {}, passes: (r) => /\bno-store\b/.test(r.header("cache-control") ?? "") },
  { id: "future-property", level: "MUST", title: "ignores properties of the request that it does not know",
    ask: { body: body(PLAIN, { comingLater: [1] }) }, passes: (r) => r.status === 200 && ran(r) },
  { id: "null-properties", level: "MUST", title: "takes null for properties that may be left out",
    ask: { body: body(PLAIN, { operationName: null, variables: null, extensions: null }) }, passes: (r) => r.status === 200 && ran(r) },
  { id: "partial-2xx", level: "MUST", title: "keeps a 2xx code when part of the answer is there",
    ask: { body: body(PARTIAL) }, passes: (r) => r.status >= 200 && r.status < 300 && ran(r) && r.json.errors?.length > 0 },
  { id: "partial-294", level: "SHOULD", title: "says 294 when data and errors come together",
    ask: { body: body(PARTIAL) }, passes: status(294) },
];

const refusals = [
  { id: "get-mutation", level: "MUST", title: "runs no mutation sent by GET",
    ask: { method: "GET", query: "mutation { __typename }" }, passes: refused },
  { id: "other-method", level: "SHOULD", title: "says 405 and which methods it allows",
    ask: { method: "PUT" }, passes: (r) => r.status === 405 && /POST/.test(r.header("allow") ?? "") },
  { id: "broken-json", level: "SHOULD", title: "says 400 to JSON that does not parse",
    ask: { body: '{"query":' }, passes: status(400) },
  { id: "not-utf8", level: "SHOULD", title: "says 400 to bytes that are not UTF-8",
    ask: { body: new Uint8Array([0x7b, 0x22, 0xff, 0xfe, 0x22, 0x7d]) }, passes: status(400) },
  { id: "not-a-request", level: "SHOULD", title: "says 422 to JSON that is no GraphQL request",
    ask: { body: '{"question":"{ __typename }"}' }, passes: status(422) },
  { id: "document-syntax", level: "MUST", title: "says 4xx to a document that does not parse",
    ask: { body: body("{ __typename") }, passes: refused },
  { id: "document-syntax-400", level: "SHOULD", title: "says 400 to a document that does not parse",
    ask: { body: body("{ __typename") }, passes: status(400) },
  { id: "validation", level: "MUST", title: "says 4xx to a document that is not valid",
    ask: { body: body(UNKNOWN_FIELD) }, passes: refused },
  { id: "validation-422", level: "SHOULD", title: "says 422 to a document that is not valid",
    ask: { body: body(UNKNOWN_FIELD) }, passes: status(422) },
  { id: "no-data-key", level: "MUST", title: "has no data entry when nothing ran",
    ask: { body: body(UNKNOWN_FIELD) }, passes: neverRan },
  { id: "unknown-operation", level: "MUST", title: "says 4xx when the named operation is not in the document",
    ask: { body: body("query a { __typename }", { operationName: "b" }) }, passes: (r) => refused(r) && neverRan(r) },
  { id: "ambiguous-operation", level: "MUST", title: "says 4xx when it cannot know which operation is meant",
    ask: { body: body("query a { __typename } query b { __typename }") }, passes: (r) => refused(r) && neverRan(r) },
  { id: "variable", level: "MUST", title: "says 4xx to a variable of the wrong type",
    ask: { body: NOT_COERCIBLE }, passes: refused },
  { id: "variable-422", level: "SHOULD", title: "says 422 to a variable of the wrong type",
    ask: { body: NOT_COERCIBLE }, passes: status(422) },
  { id: "unknown-path", level: "SHOULD", title: "describes a missing page as problem details",
    ask: { method: "GET", path: "/no/such/page" }, passes: (r) => r.status === 404 && r.type.startsWith("application/problem+json") },
];

const safety = [
  { id: "text-plain", level: "SAFE", title: "refuses a text body, which any page may send without asking",
    ask: { type: "text/plain" }, passes: refused },
  { id: "no-type", level: "SAFE", title: "refuses a body of no stated type",
    ask: { type: null }, passes: refused },
  { id: "form", level: "SAFE", title: "refuses a form's body",
    ask: { type: "application/x-www-form-urlencoded" }, passes: refused },
  { id: "form-with-query", level: "SAFE", title: "refuses a form's fields",
    ask: { type: "application/x-www-form-urlencoded", body: new URLSearchParams({ query: PLAIN }).toString() }, passes: refused },
  { id: "multipart", level: "SAFE", title: "refuses a form's parts",
    ask: { type: FORM, body: FORM_PART }, passes: refused },
  { id: "foreign-origin", level: "SAFE", title: "invites no other site to read its answers",
    ask: { headers: { origin: "https://elsewhere.test" } }, passes: (r) => !r.header("access-control-allow-origin") },
  { id: "foreign-preflight", level: "SAFE", title: "lets no other site send JSON",
    ask: { method: "OPTIONS", headers: { origin: "https://elsewhere.test", "access-control-request-method": "POST", "access-control-request-headers": "content-type" } },
    passes: (r) => !r.header("access-control-allow-origin") },
  { id: "batch", level: "SAFE", title: "answers no list of requests",
    ask: { body: `[${times(50, () => body(PLAIN)).join()}]` }, passes: (r) => r.status >= 400 && !Array.isArray(r.json) },
  { id: "aliases", level: "SAFE", title: "refuses a thousand names for one field",
    ask: { body: body(`{ ${times(1000, (n) => `a${n}: __typename`).join(" ")} }`) }, passes: refused },
  { id: "directives", level: "SAFE", title: "refuses a thousand directives on one field",
    ask: { body: body(`{ __typename ${"@include(if: true) ".repeat(1000)}}`) }, passes: refused },
  { id: "deep-introspection", level: "SAFE", title: "refuses to describe itself in circles",
    ask: { body: body(DEEP) }, passes: refused },
  { id: "deep-nesting", level: "SAFE", title: "survives ten thousand open brackets",
    ask: { body: body("{ a ".repeat(10_000)) }, passes: refused },
  { id: "deep-json", level: "SAFE", title: "survives JSON nested ten thousand deep",
    ask: { body: `{"query":"${PLAIN}","variables":${'{"a":'.repeat(10_000)}1${"}".repeat(10_000)}}` }, passes: (r) => refused(r) || ran(r) },
  { id: "fragment-circle", level: "SAFE", title: "refuses fragments that spread each other",
    ask: { body: body("{ ...a } fragment a on Query { ...b } fragment b on Query { ...a }") }, passes: refused },
  { id: "large-body", level: "SAFE", title: "says 413 to three megabytes",
    ask: { body: body(`{ __typename } #${"x".repeat(3_000_000)}`) }, passes: status(413) },
  { id: "still-there", level: "SAFE", title: "still answers after all that",
    ask: {}, passes: (r) => r.status === 200 && ran(r) },
];

// Only for strangers does the shape of the schema have to stay unknown.
const production = [
  { id: "suggestions", level: "SAFE", title: "suggests no names to who misspells one", stranger: true,
    ask: (server) => ({ body: body(`{ ${misspelt(server.rootFields)} }`) }), passes: (r) => refused(r) && !/did you mean/i.test(r.text) },
  { id: "introspection", level: "SAFE", title: "does not describe itself to strangers", stranger: true,
    ask: { body: body("{ __schema { queryType { name } } }") }, passes: (r) => !r.json?.data?.__schema },
  { id: "query-page", level: "SAFE", title: "serves no page to try queries on",
    ask: { method: "GET", path: "/graphiql", accept: "text/html" }, passes: status(404) },
];

const CHECKS = { production: [...answers, ...refusals, ...production, ...safety], development: [...answers, ...refusals, ...safety] };

/** Runs the checks that hold for the server's mode. */
export async function runChecks(server) {
  const results = [];
  for (const check of CHECKS[server.mode]) {
    const ask = typeof check.ask === "function" ? check.ask(server) : check.ask;
    const reply = await send(server, ask, check.stranger);
    const { id, level, title } = check;
    const start = reply.text.slice(0, 120).replace(/\s+/g, " ");
    results.push({ id, level, title, ok: Boolean(check.passes(reply)), detail: `HTTP ${reply.status} ${reply.type} ${start}` });
  }
  return results;
}

async function send(server, ask, stranger) {
  const method = ask.method ?? "POST";
  const bodiless = method === "GET" || method === "OPTIONS";
  const headers = { accept: ask.accept ?? GRAPHQL, ...ask.headers };
  if (!stranger) headers.authorization = `Bearer ${server.token}`;
  if (!bodiless && ask.type !== null) headers["content-type"] = ask.type ?? "application/json";
  // Bytes, because fetch gives text a content type of its own.
  const bytes = ask.body instanceof Uint8Array ? ask.body : new TextEncoder().encode(ask.body ?? body(PLAIN));
  const address = new URL(ask.path ?? "/graphql", server.base);
  if (ask.query) address.searchParams.set("query", ask.query);
  let response;
  let text;
  try {
    response = await fetch(address, { method, headers, body: bodiless ? undefined : bytes, redirect: "manual" });
    text = await response.text();
  } catch (error) {
    // A refused or broken connection is a reply that passes no check.
    return { status: 0, type: "", text: String(error.cause ?? error), header: () => null };
  }
  let json;
  try {
    json = JSON.parse(text);
  } catch {
    json = undefined;
  }
  return { status: response.status, type: response.headers.get("content-type") ?? "", header: (name) => response.headers.get(name), text, json };
}

/** A root field with its last letter missing, which no field is called. */
function misspelt(rootFields) {
  const long = rootFields.find((name) => name.length > 5 && !rootFields.includes(name.slice(0, -1)));
  if (!long) throw new Error("the schema has no root field to misspell");
  return long.slice(0, -1);
}
