// The page end to end in a browser, against the real server: import, align check, follow, ring-out to the end by
// keyboard, undo, reload and power cut without loss, nets equal to the layout's.
import assert from "node:assert/strict";
import { mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test as node_test } from "node:test";
import {
  answer_by_keyboard, Bench, board_folder, gestures_on, next_question, open_browser, open_page, output_folder, question_on, sorted, true_nets,
} from "./bench.mjs";

// Each test goes on where the one before ended, so nothing is tried after the first that fails.
let failed = "";
const test = (name, body) =>
  node_test(name, async () => {
    assert.equal(failed, "", "an earlier test failed");
    try {
      await body();
    } catch (error) {
      failed = name;
      await page?.screenshot({ path: join(output_folder, "failed.png") }).catch(() => {});
      throw error;
    }
  });

let bench;
let browser;
let page;
let job;

before(async () => {
  mkdirSync(output_folder, { recursive: true });
  bench = await Bench.start();
  browser = await open_browser();
  page = await open_page(browser);
});
after(async () => {
  await browser?.close();
  await bench?.stop();
});

const at = (panel) => `${bench.address}#/job/${job}/${panel}`;
const stage_middle = async (p) => {
  const box = await p.locator(".stage-host").boundingBox();
  return [box.x + box.width / 2, box.y + box.height / 2];
};

test("files without a survey are refused in plain words", async () => {
  await page.goto(bench.address);
  await page.locator("#survey-files").setInputFiles([join(board_folder, "populated_top.jpg")]);
  await page.getByRole("alert").filter({ hasText: "no survey.json" }).waitFor();
  await page.locator("#survey-files").setInputFiles([join(board_folder, "survey.json"), join(board_folder, "populated_top.jpg")]);
  await page.getByRole("alert").filter({ hasText: "populated_bottom.jpg" }).waitFor();
  assert.deepEqual((await bench.get("/api/jobs")).jobs, []);
  page.wrong = page.wrong.filter((w) => !w.includes("400")); // the browser's own note of the refusal
});

test("a survey folder becomes a job", async () => {
  await page.locator("#survey-folder").setInputFiles(board_folder);
  await page.waitForURL(/#\/job\/J1\/align/);
  job = "J1";
  assert.equal((await bench.get("/api/jobs")).jobs.length, 1);
});

test("align check: each tie point with its misfit", async () => {
  await page.getByRole("button", { name: "Align the photographs" }).click();
  await page.getByRole("heading", { name: "Do the photographs lie on the board?" }).waitFor();
  const fits = await page.locator(".fit").all();
  assert.equal(fits.length, 2);
  for (const fit of fits) {
    const misfits = await fit.locator("tbody tr .num").allTextContents();
    assert.equal(misfits.length, 7);
    for (const misfit of misfits) assert.match(misfit, /^\d\.\d\d mm$/);
  }
});

test("copper is followed and links are drawn", async () => {
  await page.getByRole("button", { name: "Follow the copper" }).click();
  await page.getByRole("heading", { name: "Copper that was followed" }).waitFor({ timeout: 180_000 });
  const { links } = await bench.get(`/api/jobs/${job}/links`);
  assert.ok(links.length > 50, `${links.length} links`);
});

test("a joint found by name lights its net; turning the board over keeps it under the pointer", async () => {
  await page.goto(at("board"));
  await page.getByText("What the lines and marks mean").waitFor();
  await page.keyboard.press("/");
  await page.keyboard.type("c107.1");
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { name: "C107.1" }).waitFor();
  await page.waitForTimeout(300);
  const [x, y] = await stage_middle(page);
  const shown = await page.locator(".stage-host").screenshot();
  await page.mouse.move(x + 2, y + 2);
  await page.keyboard.press("Escape");
  await page.getByText("What the lines and marks mean").waitFor();
  for (const words of ["From behind", "From the front"]) {
    await page.keyboard.press("f");
    await page.locator(".flip").filter({ hasText: words }).waitFor();
    await page.mouse.click(x + 2, y + 2);
    await page.getByRole("heading", { name: "C107.1" }).waitFor();
    await page.keyboard.press("Escape");
    await page.getByText("What the lines and marks mean").waitFor();
  }
  await page.getByRole("slider", { name: "Blend" }).fill("50");
  await page.waitForTimeout(200);
  assert.notDeepEqual(await page.locator(".stage-host").screenshot(), shown);
  await page.getByRole("slider", { name: "Blend" }).fill("0");
});

test("ring-out to the end by keyboard alone, with undo, reload and a power cut on the way", async () => {
  await page.goto(at("ring"));
  await page.locator(".ask").waitFor();
  let gestures = 0;
  for (;;) {
    const question = await question_on(page);
    if (question.done) break;
    if (gestures === 4) {
      const before_undo = question;
      await answer_by_keyboard(page, question);
      const after_answer = await question_on(page);
      await page.keyboard.press("u");
      await next_question(page, after_answer.id);
      assert.deepEqual(await question_on(page), before_undo, "undo asks the same question again");
      assert.equal(await gestures_on(page), 4);
    }
    if (gestures === 7) {
      await page.reload();
      await page.locator(".ask").waitFor();
      assert.deepEqual(await question_on(page), question, "a reload keeps the question");
      assert.equal(await gestures_on(page), 7);
    }
    if (gestures === 10) {
      await bench.cut_and_restart();
      await page.reload();
      await page.locator(".ask").waitFor();
      assert.deepEqual(await question_on(page), question, "a power cut keeps the question");
      assert.equal(await gestures_on(page), 10);
      page.wrong = page.wrong.filter((w) => !/ERR_|failed to load/i.test(w)); // while the server was away
    }
    if (gestures === 12) {
      // A slip of the finger that is no number is refused, and nothing is noted.
      if (question.gesture === "touch") {
        await page.keyboard.type("1.2.3");
        await page.keyboard.press("Enter");
        await page.getByRole("alert").filter({ hasText: "no number of ohms" }).waitFor();
        for (let i = 0; i < 5; i++) await page.keyboard.press("Backspace");
      }
    }
    await answer_by_keyboard(page, await question_on(page));
    gestures++;
    assert.ok(gestures < 1000, "the ring-out ends");
  }
  assert.equal(await gestures_on(page), gestures);
  await page.getByRole("heading", { name: "The map is proven" }).waitFor();
  const { nets } = await bench.get(`/api/jobs/${job}/nets`);
  assert.deepEqual(sorted(nets.map((n) => n.joints)), sorted(true_nets));
});

test("the proven net is told in words, with the readings that prove it", async () => {
  const net = [...true_nets].sort((a, b) => b.length - a.length)[0];
  await page.goto(at("board"));
  await page.keyboard.press("/");
  await page.keyboard.type(net[0]);
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { name: net[0] }).waitFor();
  await page.waitForFunction((n) => document.querySelector(".joint-list")?.querySelectorAll("button").length === n, net.length);
  const listed = await page.locator(".joint-list").first().locator("button").allTextContents();
  assert.deepEqual([...listed].sort(), [...net].sort());
  await page.locator(".standing.proven").waitFor();
  assert.ok((await page.locator(".readings li").count()) > 0);
});

test("journal: a note, a withdrawal with its reason, undo", async () => {
  await page.goto(at("journal"));
  await page.getByRole("button", { name: "Write something down" }).click();
  await page.getByRole("radio", { name: "Note" }).click();
  await page.getByLabel("Note", { exact: true }).fill("brown stain under C107");
  await page.getByRole("button", { name: "Write it down" }).click();
  const entry = page.locator(".entry").filter({ hasText: "brown stain under C107" });
  await entry.waitFor();
  await entry.getByRole("button", { name: "withdraw" }).click();
  await entry.getByRole("textbox").fill("it was flux");
  await entry.getByRole("button", { name: /^Withdraw/ }).click();
  await entry.getByText("Withdrawn: it was flux").waitFor();
  await page.getByRole("button", { name: "Undo" }).click();
  await page.waitForFunction(() => ![...document.querySelectorAll(".entry")].some((e) => e.textContent.includes("it was flux")));
});

test("a withdrawn reading takes its proof with it, and undo brings it back", async () => {
  const standing = async () => (await bench.get(`/api/jobs/${job}/nets`)).nets.length;
  const before_withdrawal = await standing();
  await page.goto(at("journal"));
  await page.getByLabel("Show only entries with these words").fill("Ω, copper");
  const reading = page.locator(".entry.reading").first();
  const name = await reading.locator(".mono").textContent();
  await page.getByLabel("Show only entries with these words").fill(`${name} ${await reading.locator(".entry-text").textContent()}`);
  const entry = page.locator(".entry.reading").first();
  await entry.getByRole("button", { name: "withdraw" }).click();
  await entry.getByRole("textbox").fill("the needle slipped");
  await entry.getByRole("button", { name: /^Withdraw/ }).click();
  await entry.getByText("Withdrawn: the needle slipped").waitFor();
  const { entries } = await bench.get(`/api/jobs/${job}/journal`);
  assert.equal(entries.find((e) => e.entry === name).withdrawn, true);
  await page.getByRole("button", { name: "Undo" }).click();
  await entry.getByRole("button", { name: "withdraw" }).waitFor();
  assert.equal(await standing(), before_withdrawal);
});

test("report and netlists can be taken away", async () => {
  await page.goto(at("papers"));
  const take = async (name) => {
    const [download] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name }).click()]);
    return readFileSync(await download.path());
  };
  assert.equal((await take(/Report as PDF/)).subarray(0, 5).toString(), "%PDF-");
  assert.match((await take(/Table/)).toString(), /^net,standing,joint/);
  // IPC-D-356A ends with a record 999.
  assert.match((await take(/IPC-D-356A/)).toString(), /\n999\s*$/);
  assert.equal(JSON.parse((await take(/JSON/)).toString()).nets.length, true_nets.length);
});

test("cautions are a keypress away and give the focus back", async () => {
  await page.goto(at("ring"));
  await page.getByRole("button", { name: "Cautions" }).click();
  const dialog = page.getByRole("dialog");
  await dialog.locator("dt").first().waitFor();
  const words = await dialog.textContent();
  for (const word of [/mains/i, /capacitor/i, /static|ESD/i, /brak|airbag|medical/i]) assert.match(words, word);
  await page.keyboard.press("Escape");
  await dialog.waitFor({ state: "detached" });
  assert.equal(await page.evaluate(() => document.activeElement?.textContent?.trim()), "Cautions");
});

const sizes = [[1440, 900], [1024, 768], [820, 1180], [390, 844]];
for (const scheme of ["light", "dark"]) {
  for (const [width, height] of sizes) {
    test(`fits ${width} by ${height}, ${scheme}`, async () => {
      const looked = await open_page(browser, { viewport: { width, height }, colorScheme: scheme });
      for (const panel of ["board", "align", "ring", "journal", "papers"]) {
        await looked.goto(at(panel));
        await looked.locator(".panel-body h2").first().waitFor(); // the job is open, not only being opened
        await looked.locator(".working").waitFor({ state: "detached" });
        await looked.waitForTimeout(500);
        const over = await looked.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
        assert.ok(over <= 0, `${panel} is ${over} px too wide`);
        await check_names_and_contrast(looked, panel);
        await looked.screenshot({ path: join(output_folder, `${panel}-${width}x${height}-${scheme}.png`) });
      }
      await looked.goto(bench.address);
      await looked.locator(".job-list a").first().waitFor();
      await check_names_and_contrast(looked, "jobs");
      await looked.screenshot({ path: join(output_folder, `jobs-${width}x${height}-${scheme}.png`) });
      assert.deepEqual(looked.wrong, []);
      await looked.context().close();
    });
  }
}

// Every control has a name, and text in the panel stands out by 4.5 to 1 (WCAG 2.2, 1.4.3; its formula of relative
// luminance).
async function check_names_and_contrast(looked, where) {
  const wrong = await looked.evaluate(() => {
    const found = [];
    for (const control of document.querySelectorAll("button, a[href], input:not([hidden]), select, textarea")) {
      const named = control.textContent.trim() || control.getAttribute("aria-label") || control.labels?.length || control.title;
      if (!named) found.push(`no name: ${control.outerHTML.slice(0, 80)}`);
    }
    const channels = (colour) => (colour.match(/[\d.]+/g) ?? []).map(Number);
    const luminance = ([r, g, b]) => {
      const [x, y, z] = [r, g, b].map((c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4));
      return 0.2126 * x + 0.7152 * y + 0.0722 * z;
    };
    const ground = (element) => {
      for (let e = element; e; e = e.parentElement) {
        const c = channels(getComputedStyle(e).backgroundColor);
        if (c.length >= 3 && (c[3] ?? 1) > 0.8) return c;
      }
      return [255, 255, 255];
    };
    const walker = document.createTreeWalker(document.querySelector(".panel, .jobs"), NodeFilter.SHOW_TEXT);
    const seen = new Set();
    while (walker.nextNode()) {
      const element = walker.currentNode.parentElement;
      if (!walker.currentNode.data.trim() || seen.has(element) || element.closest(":disabled, .unseen, option")) continue;
      seen.add(element);
      const a = luminance(channels(getComputedStyle(element).color));
      const b = luminance(ground(element));
      const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
      if (ratio < 4.5) found.push(`${ratio.toFixed(2)} to 1: ${element.outerHTML.slice(0, 80)}`);
    }
    return [...new Set(found)];
  });
  assert.deepEqual(wrong, [], where);
}

test("nothing went wrong in the page on the way", () => assert.deepEqual(page.wrong, []));
