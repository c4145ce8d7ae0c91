// What the browser tests share: a real `eyelet serve` on a bench of its own, a browser, and the known board.
import { spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

export const board_folder = fileURLToPath(new URL("./board", import.meta.url));
export const output_folder = fileURLToPath(new URL("../test-output", import.meta.url));
const program = process.env.EYELET ?? fileURLToPath(new URL("../../build/dev/eyelet", import.meta.url));

// The layout's true nets, pads only.
export const true_nets = (() => {
  const survey = JSON.parse(readFileSync(join(board_folder, "survey.json"), "utf8"));
  const pads = new Set(survey.joints.filter((j) => j.kind === "pad").map((j) => j.id));
  const { nets } = JSON.parse(readFileSync(join(board_folder, "nets.json"), "utf8"));
  return nets.map((net) => net.filter((j) => pads.has(j))).filter((net) => net.length > 0);
})();
const net_of = new Map(true_nets.flatMap((net, i) => net.map((joint) => [joint, i])));
export const joined = (a, b) => net_of.get(a) === net_of.get(b);

// A partition in a form that can be compared.
export const sorted = (nets) => nets.map((net) => [...net].sort().join(" ")).sort();

export class Bench {
  static async start() {
    const bench = new Bench();
    bench.folder = mkdtempSync(join(tmpdir(), "eyelet-page-"));
    await bench.serve(0);
    return bench;
  }

  async serve(port) {
    this.process = spawn(program, ["serve", "--port", String(port), "--bench", this.folder], { stdio: ["ignore", "pipe", "pipe"] });
    let said = "";
    this.process.stderr.on("data", (data) => (said += data));
    this.address = await new Promise((resolve, reject) => {
      this.process.stdout.on("data", (data) => {
        said += data;
        const found = said.match(/http:\/\/127\.0\.0\.1:(\d+)\//);
        if (found) resolve(found[0]);
      });
      this.process.on("error", (error) => reject(new Error(`${program} could not be started (${error.message}); EYELET=PATH names it`)));
      this.process.on("exit", (code) => reject(new Error(`eyelet serve ended with ${code}: ${said}`)));
    });
    this.port = Number(new URL(this.address).port);
  }

  // As a power cut would end it, and up again at the same address.
  async cut_and_restart() {
    await this.end("SIGKILL");
    await this.serve(this.port);
  }

  async end(signal = "SIGTERM") {
    if (this.process.exitCode !== null || this.process.signalCode !== null) return;
    const ended = new Promise((resolve) => this.process.once("exit", resolve));
    this.process.kill(signal);
    await ended;
  }

  async stop() {
    await this.end();
    rmSync(this.folder, { recursive: true, force: true });
  }

  async get(path) {
    const answer = await fetch(new URL(path, this.address));
    return answer.json();
  }
}

export async function open_browser() {
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    args: [
      "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
      "--disable-component-update", "--disable-sync",
    ],
  });
}

// A page that remembers everything that went wrong in it.
export async function open_page(browser, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1440, height: 900 }, reducedMotion: "reduce", ...options });
  const page = await context.newPage();
  page.setDefaultTimeout(30_000);
  page.wrong = [];
  page.on("pageerror", (error) => page.wrong.push(error.message));
  page.on("console", (message) => {
    if (message.type() === "error") page.wrong.push(message.text());
  });
  return page;
}

// The question as the page shows it.
export async function question_on(page) {
  return page.evaluate(() => {
    const ask = document.querySelector(".ask");
    if (!ask) return null;
    if (ask.dataset.done) return { done: true };
    const name = (element) => [...element.childNodes].filter((n) => n.nodeType === Node.TEXT_NODE).map((n) => n.data).join("").trim();
    return {
      id: ask.dataset.question,
      gesture: ask.dataset.gesture,
      hold: name(ask.querySelector(".probe.hold")),
      to: name(ask.querySelector(".probe.move")),
      row: [...ask.querySelectorAll(".row-keys .name")].map((n) => n.textContent),
    };
  });
}

// Answers from the known nets with the keyboard alone, and waits for what comes next.
export async function answer_by_keyboard(page, question) {
  if (question.gesture === "touch") {
    if (joined(question.hold, question.to)) {
      await page.keyboard.type("0.2");
      await page.keyboard.press("Enter");
    } else {
      await page.keyboard.press("o");
    }
  } else {
    const answering = question.row.map((joint, i) => (joined(question.hold, joint) ? i : -1)).filter((i) => i >= 0);
    let at = 0;
    for (const i of answering) {
      if (i < 9) {
        await page.keyboard.press(String(i + 1));
      } else {
        for (; at < i; at++) await page.keyboard.press("ArrowRight");
        await page.keyboard.press(" ");
      }
      at = i;
    }
    await page.keyboard.press("Enter");
  }
  await next_question(page, question.id);
}

export async function next_question(page, than) {
  await page.waitForFunction((id) => {
    const ask = document.querySelector(".ask");
    return ask && (ask.dataset.done || ask.dataset.question !== id);
  }, than);
}

export async function gestures_on(page) {
  return page.evaluate(() => {
    const found = [...document.querySelectorAll(".counts div")].find((d) => d.querySelector("dt").textContent === "gestures");
    return Number(found.querySelector("dd").textContent);
  });
}
