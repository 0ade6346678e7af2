// One person, the same by pinned rules, and many in parts; with fetch alone.
//     node assess.mjs http://localhost:8000 request.json people.ndjson
import { readFile } from "node:fs/promises";

const TRY_AGAIN = new Set([429, 502, 503, 504]);
const TRIES = 4;
const LONGEST_WAIT = 30; // seconds

/** What the service said when it refused (RFC 9457), with every fault in `problem.problems`. */
export class Refused extends Error {
  constructor(status, problem) {
    super(`${status}: ${problem.detail}`);
    Object.assign(this, { status, problem });
  }
}

/** Send a body; an assessment changes nothing, so it may be sent again as it is. */
async function post(address, type, body, headers = {}) {
  for (let attempt = 0; ; attempt++) {
    let wait = Math.min(2 ** attempt, LONGEST_WAIT);
    try {
      const response = await fetch(`${address}/v1/assessments`, {
        method: "POST",
        headers: { "Content-Type": type, ...headers },
        body,
        signal: AbortSignal.timeout(60_000),
      });
      if (response.ok) return response;
      const problem = await response.json();
      if (!TRY_AGAIN.has(response.status) || attempt === TRIES - 1) throw new Refused(response.status, problem);
      wait = Math.min(Number(response.headers.get("Retry-After")) || wait, LONGEST_WAIT);
    } catch (error) {
      if (error instanceof Refused || attempt === TRIES - 1) throw error;
    }
    await new Promise((resume) => setTimeout(resume, wait * 1000));
  }
}

/** The answer and the ETag of the rules; by the `rules` of an earlier answer, or Refused with 412. */
export async function assess(address, request, rules) {
  const response = await post(address, "application/json", JSON.stringify(request), rules ? { "If-Match": rules } : {});
  return { answer: await response.json(), rules: response.headers.get("ETag") };
}

/** An answer a request, in order. fetch does not send while it reads, so they go a part at a time. */
export async function* assessAll(address, requests, together = 100) {
  for (let start = 0; start < requests.length; start += together) {
    const lines = requests.slice(start, start + together).map((request) => JSON.stringify(request) + "\n");
    const response = await post(address, "application/x-ndjson", lines.join(""));
    let rest = "";
    for await (const piece of response.body.pipeThrough(new TextDecoderStream())) {
      const whole = (rest + piece).split("\n");
      rest = whole.pop();
      for (const line of whole) yield JSON.parse(line);
    }
  }
}

if (process.argv[1] === new URL(import.meta.url).pathname) {
  const [address, request, people] = process.argv.slice(2);
  const payload = JSON.parse(await readFile(request, "utf8"));
  const first = await assess(address, payload);
  console.log(JSON.stringify(first.answer));
  console.log(JSON.stringify((await assess(address, payload, first.rules)).answer));
  const sent = (await readFile(people, "utf8")).split("\n").filter(Boolean).map((line) => JSON.parse(line));
  for await (const answer of assessAll(address, sent)) console.log(JSON.stringify(answer));
}
