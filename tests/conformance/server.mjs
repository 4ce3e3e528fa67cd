// A server of our own for the length of the step, on a fresh SQLite database with one owner.

import { spawn, spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";

const OWNER = { email: "owner@nameplate.test", password: "plum-kettle-orbit-lantern" };
const START_LIMIT_MS = 60_000;

/** Starts `nameplate serve` in a mode; gives its URL, an owner's token, its root fields, and `stop()`. */
export async function startServer(program, packages, mode) {
  const folder = mkdtempSync(join(tmpdir(), "nameplate-conformance-"));
  const env = {
    PATH: process.env.PATH,
    HOME: folder,
    DATABASE_URL: `sqlite://${join(folder, "shop.db")}?mode=rwc`,
    NAMEPLATE_LISTEN: "127.0.0.1:0",
    NAMEPLATE_PUBLIC_URL: "https://nameplate.test",
    NAMEPLATE_MODE: mode,
    NAMEPLATE_MAIL__FOLDER: join(folder, "mail"),
  };
  const command = (args, input = "") => {
    const ended = spawnSync(program, args, { cwd: folder, env, input, encoding: "utf8" });
    if (ended.status !== 0) throw new Error(`nameplate ${args.join(" ")} failed (${ended.status}):\n${ended.stdout}${ended.stderr}`);
    return ended.stdout;
  };
  command(["migrate"]);
  command(["staff", "add", "--role", "owner", "--name", "Olive Owner", "--email", OWNER.email, "--password-stdin"], `${OWNER.password}\n`);
  const rootFields = namesOfRootFields(command(["schema"]), packages);

  const child = spawn(program, ["serve"], { cwd: folder, env, stdio: ["ignore", "pipe", "pipe"] });
  const ended = new Promise((resolve) => child.once("exit", resolve));
  const log = [];
  child.stderr.on("data", (text) => log.push(text));
  const killWithUs = () => child.kill("SIGKILL");
  process.once("exit", killWithUs);
  const stop = async () => {
    child.kill("SIGKILL");
    await ended;
    process.removeListener("exit", killWithUs);
    rmSync(folder, { recursive: true, force: true });
  };

  try {
    const base = await listening(child, ended);
    const token = await signIn(base);
    return { mode, base, url: `${base}/graphql`, token, rootFields, log: () => log.join(""), stop };
  } catch (error) {
    await stop();
    throw new Error(`${error.message}\n${log.join("")}`);
  }
}

function namesOfRootFields(sdl, packages) {
  const { parse } = createRequire(join(packages, "package.json"))("graphql");
  const query = parse(sdl).definitions.find((definition) => definition.kind === "ObjectTypeDefinition" && definition.name.value === "Query");
  return query.fields.map((field) => field.name.value);
}

function listening(child, ended) {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error("the server did not listen in time")), START_LIMIT_MS);
    createInterface({ input: child.stdout }).on("line", (line) => {
      const address = /^nameplate listening on (http:\S+?)\/?$/.exec(line);
      if (address) {
        clearTimeout(timer);
        resolve(address[1]);
      }
    });
    ended.then((code) => {
      clearTimeout(timer);
      reject(new Error(`the server ended with ${code} instead of listening`));
    });
  });
}

async function signIn(base) {
  const query = "mutation($input: SignInInput!) { signIn(input: $input) { token problems { code message } } }";
  const response = await fetch(`${base}/graphql`, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ query, variables: { input: OWNER } }),
  });
  const text = await response.text();
  const token = JSON.parse(text).data?.signIn?.token;
  if (!token) throw new Error(`the owner could not sign in: ${text}`);
  return token;
}
