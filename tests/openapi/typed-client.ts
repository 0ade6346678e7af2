// A client in TypeScript, by the types that openapi-typescript makes of the contract: it has to compile.
import type { components, paths } from "./contract.js";

type Schemas = components["schemas"];
type Assess = paths["/v1/assessments"]["post"];
type AsAsked = Assess["responses"]["200"]["content"]["application/json"];
// Of the kinds of answer that `options.detail` asks for, the one that comes where it is not set.
type Answer = Extract<AsAsked, Schemas["Answer"]>;
type Problem = Assess["responses"]["422"]["content"]["application/problem+json"];

const sent: Assess["requestBody"]["content"]["application/json"] = {
  subject: { id: "s-01", age_years: null },
  readings: [{ setting: "home", taken_at: "2026-03-02T07:10:00+01:00", systolic: 142, diastolic: 88, site: "left-upper-arm" }],
  options: { guideline: "of-a-clinic", time_zone: "Europe/Oslo" },
};

// @ts-expect-error: a request without a subject is none
const nobody: Schemas["Envelope"] = { readings: [] };
// @ts-expect-error: a place where nobody measures
const nowhere: Schemas["Reading"] = { ...sent.readings[0], setting: "hom" };

export async function assess(service: string): Promise<string> {
  const body = JSON.stringify([sent, nobody, nowhere][0]);
  const reply = await fetch(`${service}/v1/assessments`, { method: "POST", body, headers: { "content-type": "application/json" } });
  if (!reply.ok) {
    const problem = (await reply.json()) as Problem;
    return (problem.problems ?? []).map((fault) => `${fault.pointer}: ${fault.code}`).join("\n");
  }
  const answer = (await reply.json()) as Answer;
  const level: "now" | "same-day" | "cannot-be-told" | "within-days" | "history" | "none" = answer.urgency.level;
  const category: string | null | undefined = answer.classification.category;
  const mean: number | undefined = answer.averages.find((average) => average.basis === "protocol")?.systolic.mean;
  return `${level} ${category ?? "no category"} ${mean ?? "no average"} ${answer.next_steps.map((step) => step.code).join()}`;
}
