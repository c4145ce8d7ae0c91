// The page's own lists of words (src/api.ts) against the document that the server is held against.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

const here = new URL(".", import.meta.url);
const source = readFileSync(new URL("../src/api.ts", here), "utf8");
const schemas = JSON.parse(readFileSync(new URL("../../src/eyelet/server/openapi.json", here), "utf8")).components.schemas;

// `export const sides = ["top", "bottom"] as const;`
function words_of(name) {
  const found = source.match(new RegExp(`export const ${name} = \\[([^\\]]*)\\] as const;`));
  assert.ok(found, `src/api.ts has a list called ${name}`);
  return [...found[1].matchAll(/"([^"]*)"/g)].map((m) => m[1]);
}

const lists = {
  sides: "Side",
  joint_sides: "JointSides",
  joint_kinds: "JointKind",
  standings: "Standing",
  net_standings: "NetStanding",
  gestures: "Gesture",
  entry_kinds: "EntryKind",
  tones: "Tone",
  tiles_of: "TilesOf",
};

for (const [name, schema] of Object.entries(lists)) {
  test(`${name} are the words of ${schema}`, () => assert.deepEqual(words_of(name), schemas[schema].enum));
}

test("no list of words in src/api.ts is left unchecked", () => {
  const all = [...source.matchAll(/export const (\w+) = \[[^\]]*\] as const;/g)].map((m) => m[1]);
  assert.deepEqual(all.sort(), Object.keys(lists).sort());
});

// Every member that an interface of the page requires is one that the document promises.
const shapes = {
  JobSummary: "JobSummary", Job: "Job", Board: "Board", Photograph: "Photograph", Pyramid: "Pyramid", Joint: "Joint", Part: "Part",
  TiePoint: "TiePoint", PhotographFit: "PhotographFit", Alignment: "Alignment", Link: "Link", ToneState: "ToneState", FollowSummary: "FollowSummary",
  Net: "Net", Question: "Question", Progress: "Progress", Contradiction: "Contradiction", RingState: "RingState", RingOptions: "RingOptions",
  Entry: "Entry", Journal: "Journal",
};
for (const [name, schema] of Object.entries(shapes)) {
  test(`${name} needs only what ${schema} promises`, () => {
    const body = source.match(new RegExp(`export interface ${name} \\{([\\s\\S]*?)\\n\\}`));
    assert.ok(body, `src/api.ts has ${name}`);
    for (const [, member, optional] of body[1].matchAll(/^ {2}(\w+)(\??):/gm)) {
      assert.ok(member in schemas[schema].properties, `${schema} has no ${member}`);
      if (!optional) assert.ok((schemas[schema].required ?? []).includes(member), `${schema} does not promise ${member}`);
    }
  });
}
