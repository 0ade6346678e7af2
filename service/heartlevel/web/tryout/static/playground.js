// A layer tried on the invented people by POST /v1/rules/trial: faults at their line, and who changes.
import { ask, at, element, list, people, refusalShown, table } from "./tryout.js";

const FIRST = `id: tried-out
name: Tried out on this page
revision: "1"
changes:
  - of: rule
    id: legs-crossed
    set: {severity: high}
    reason: Tried out
`;

function faultsShown(faults, files) {
  const rows = faults.map((fault) => {
    const file = Object.keys(files).find((name) => (fault.file || "").endsWith(name));
    const line = file && fault.line ? files[file].split("\n")[fault.line - 1] : "";
    return [`${file || fault.file || ""}:${fault.line || ""}`, line, `${fault.message || fault.detail || ""} ${fault.cure || ""}`];
  });
  return table("Mistakes in the files", ["Where", "What stands there", "What is wrong, and what to do"], rows);
}

function changesShown(told) {
  const rows = told.changes.map(({ line, subject, ...fields }) => [
    subject ?? `line ${line}`,
    Object.entries(fields).map(([name, value]) => `${name.replaceAll("_", " ")}: ${JSON.stringify(value)}`).join("; "),
  ]);
  const totals = list(Object.entries(told.totals).map(([name, count]) => `${name.replaceAll("_", " ")}: ${JSON.stringify(count)}`));
  const none = element("p", "No conclusion about any of the invented people would be another.");
  return [totals, rows.length ? table("Whose conclusions would be others", ["Person", "What changes"], rows) : none];
}

async function tried(event) {
  event.preventDefault();
  const files = { "layer.yaml": at("layer").value };
  if (at("own").value.trim()) files[at("own-name").value.trim()] = at("own").value;
  at("trial-state").textContent = "Tried; a few seconds …";
  try {
    const { ok, status, told } = await ask("v1/rules/trial", "application/json", JSON.stringify({ files, requests: await people }));
    at("trial-state").textContent = ok ? "The rules load, and their examples come out as they say." : `Refused: status ${status}.`;
    const faults = told.faults || [];
    at("trial").replaceChildren(...(ok ? changesShown(told) : [refusalShown(told), ...(faults.length ? [faultsShown(faults, files)] : [])]));
  } catch (error) {
    at("trial-state").textContent = `No answer: ${error.message}`;
  }
}

async function rulesListed() {
  const { ok, told } = await ask("v1/rules");
  if (!ok) return;
  const options = told.rules.map((rule) => element("option", `${rule.id}: ${rule.title}`, { value: rule.id }));
  at("rule").replaceChildren(at("rule").options[0], ...options);
  at("rule").onchange = () => {
    const rule = told.rules.find(({ id }) => id === at("rule").value);
    if (!rule) return;
    at("in-force").textContent = JSON.stringify(rule, null, 1);
    at("layer").value = FIRST.replace("legs-crossed", rule.id).replace("severity: high", `severity: ${rule.severity === "high" ? "moderate" : "high"}`);
  };
}

at("layer").value = FIRST;
at("candidate").addEventListener("submit", tried);
at("key").addEventListener("change", rulesListed);
rulesListed();
