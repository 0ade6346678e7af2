// Readings are sent to this service. What it says is shown as text, and the report it makes in a frame, never as markup.
export const at = (id) => document.getElementById(id);

export function element(name, text, attributes = {}) {
  const made = document.createElement(name);
  if (text !== undefined && text !== null) made.textContent = String(text);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

export function list(items, name = "ul") {
  const whole = element(name);
  whole.append(...items.map((item) => (item instanceof Node ? item : element("li", item))));
  return whole;
}

export function table(caption, heads, rows) {
  const whole = element("table"), head = element("tr"), body = element("tbody"), top = element("thead");
  head.append(...heads.map((text) => element("th", text, { scope: "col" })));
  for (const cells of rows) {
    const row = element("tr");
    row.append(...cells.map((cell) => element("td", cell)));
    body.append(row);
  }
  top.append(head);
  whole.append(element("caption", caption), top, body);
  const wide = element("div", null, { class: "wide", tabindex: "0", role: "region", "aria-label": caption });
  wide.append(whole);
  return wide;
}

function sent(path, accept, kind, body) {
  const key = at("key").value.trim();
  const headers = { Accept: accept, ...(kind && { "Content-Type": kind }), ...(key && { Authorization: `Bearer ${key}` }) };
  return fetch(path, { method: body === undefined ? "GET" : "POST", headers, body });
}

async function answered(response) {
  const text = await response.text();
  try {
    return { ok: response.ok, status: response.status, told: JSON.parse(text) };
  } catch {
    return { ok: false, status: response.status, told: { title: "The answer is no JSON", detail: text.slice(0, 500) } };
  }
}

export const ask = async (path, kind, body) => answered(await sent(path, "application/json", kind, body));

export const people = fetch("try/demo.ndjson")
  .then((response) => response.text())
  .then((text) => text.split("\n").filter(Boolean).map((line) => JSON.parse(line)));

// Which of the three it is, where it goes, and as what.
export function kindOf(text) {
  const begun = text.trimStart()[0];
  if (begun !== "{" && begun !== "[") {
    const zone = at("zone").value.trim();
    return { name: "CSV", path: "v1/tables" + (zone ? `?time_zone=${encodeURIComponent(zone)}` : ""), media: "text/csv" };
  }
  return /^\s*\{[^{]*"resourceType"/.test(text) || /"resourceType"\s*:\s*"(Bundle|Parameters)"/.test(text)
    ? { name: "FHIR", path: "v1/fhir/assessments", media: "application/fhir+json" }
    : { name: "JSON", path: "v1/assessments", media: "application/json" };
}

function valueAt(request, pointer) {
  const steps = pointer.split("/").slice(1).map((step) => step.replaceAll("~1", "/").replaceAll("~0", "~"));
  const value = steps.reduce((inner, step) => (inner === null || inner === undefined ? undefined : inner[step]), request);
  return value === undefined ? "" : JSON.stringify(value);
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

function problemsShown(problems, text) {
  const lines = text.split(/\r\n|\n|\r/), request = parsed(text);
  const rows = problems.map((fault) => [
    fault.line ? `line ${fault.line}${fault.column ? ", " + fault.column : ""}` : fault.pointer || "the whole",
    fault.line ? lines[fault.line - 1] : valueAt(request, fault.pointer || ""),
    fault.detail + (fault.hint ? ` (${fault.hint})` : ""),
  ]);
  return table("What could not be read", ["Where", "What stands there", "What is wrong"], rows);
}

export function refusalShown(told) {
  const whole = element("div", null, { class: "refused" });
  whole.append(element("p", `${told.title || "Refused"}: ${told.detail || ""}`));
  if (told.urgency && told.urgency.level !== "none") {
    whole.append(element("p", `Urgent by what is legible: ${told.urgency.level.replaceAll("-", " ")}`, { class: "alarm" }));
  }
  return whole;
}

function issuesShown(issues) {
  const rows = issues.map((issue) => [(issue.expression || []).join(", "), issue.severity, issue.diagnostics || issue.details?.text || ""]);
  return table("What could not be read", ["Where", "How grave", "What is wrong"], rows);
}

// What was wrong in it: of JSON and CSV problems, of FHIR an OperationOutcome, alone or beside the answers.
function wrongShown(told, text) {
  const problems = told.problems || [], issues = told.outcome?.issue || told.issue || [];
  return [...(problems.length ? [problemsShown(problems, text)] : []), ...(issues.length ? [issuesShown(issues)] : [])];
}

function answerShown(told) {
  const details = element("details");
  details.append(element("summary", "The answer as JSON"),
    element("pre", JSON.stringify(told, null, 1), { tabindex: "0", role: "region", "aria-label": "The answer as JSON" }));
  return details;
}

// The report is shown as it is made, in a frame in which no script runs; it is as high as what is in it.
async function reportShown(kind, text) {
  const response = await sent(kind.path, "text/html", kind.media, text);
  if (!response.ok) return refusalShown((await answered(response)).told);
  const frame = element("iframe", null, { class: "frame", title: "Report", sandbox: "allow-same-origin" });
  const fit = () => {
    const inside = frame.contentDocument?.body;
    if (inside) frame.style.height = `${inside.offsetHeight + 4}px`;
  };
  frame.srcdoc = await response.text();
  frame.addEventListener("load", fit);
  addEventListener("resize", fit);
  return frame;
}

function curl(kind, text) {
  const quoted = text.replaceAll("'", "'\\''");
  const key = at("key").value ? ' \\\n  -H "authorization: Bearer $KEY"' : "";
  const address = new URL(kind.path, document.baseURI).href;
  return `curl -s '${address}' -H 'content-type: ${kind.media}'${key} \\\n  --data-binary '${quoted}'`;
}

async function assess(event) {
  event.preventDefault();
  const text = at("text").value;
  if (!text.trim()) {
    at("state").textContent = "There is nothing to send yet.";
    return;
  }
  const kind = kindOf(text);
  at("state").textContent = `Sent as ${kind.name} …`;
  at("curl").textContent = curl(kind, text);
  try {
    const { ok, status, told } = await ask(kind.path, kind.media, text);
    at("state").textContent = ok ? `Answered (read as ${kind.name}).` : `Refused: status ${status} (read as ${kind.name}).`;
    const wrong = wrongShown(told, text);
    at("outcome").replaceChildren(...(ok ? [...wrong, await reportShown(kind, text), answerShown(told)] : [refusalShown(told), ...wrong]));
  } catch (error) {
    at("state").textContent = `No answer: ${error.message}`;
  }
}

async function dropped(event) {
  const file = event.dataTransfer.files[0];
  if (!file) return;
  event.preventDefault();
  at("text").value = await file.text();
}

at("readings").addEventListener("submit", assess);
at("text").addEventListener("dragover", (event) => event.preventDefault());
at("text").addEventListener("drop", dropped);
people.then((requests) => {
  at("person").append(...requests.map((request, number) => element("option", request.subject.id, { value: number })));
  at("person").addEventListener("change", () => {
    const chosen = requests[at("person").value];
    if (chosen) at("text").value = JSON.stringify(chosen, null, 1);
  });
});
