// Keeps a page true while it is looked at: asks for it anew after each change, says things without leaving it, tells
// times in the reader's own zone, and lets a keyboard do everything. Without it every page and form still works.
"use strict";

const say = (words, isWrong) => {
  const place = document.getElementById("said");
  const line = document.createElement("p");
  line.textContent = inZone(words);
  if (isWrong) line.className = "wrong";
  place.replaceChildren(line);
};

// Times.

const zone = Intl.DateTimeFormat().resolvedOptions().timeZone || "UTC";
const clock = new Intl.DateTimeFormat(undefined, { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hour12: false, timeZone: zone });

// Where no element can stand, in tooltips and in what was said, a time is written out.
const inZone = (text) => zone === "UTC" ? text
  : text.replace(/(?:[A-Z][a-z]{2} )?(\d{4}-\d\d-\d\d) (\d\d:\d\d) UTC/g, (_, day, hour) => clock.format(new Date(`${day}T${hour}:00Z`)));

const tellTimes = (root) => {
  for (const each of root.querySelectorAll("time:not([title])")) {
    each.title = each.textContent;
    if (zone !== "UTC") each.textContent = clock.format(new Date(each.dateTime));
  }
  for (const each of root.querySelectorAll("[data-in]")) if (each.dataset.in === zone) { each.previousSibling.data = ""; each.hidden = true; }
  for (const each of root.querySelectorAll("svg title")) if (each.textContent.includes(" UTC")) each.textContent = inZone(each.textContent);
  for (const each of root.querySelectorAll("[aria-label*=' UTC']")) each.setAttribute("aria-label", inZone(each.getAttribute("aria-label")));
  for (const each of root.querySelectorAll("[data-zone]")) each.textContent = zone === "UTC" ? "in UTC" : `in ${zone}`;
};

const moveNow = () => {
  for (const band of document.querySelectorAll(".band")) {
    const start = Number(band.dataset.start), end = Number(band.dataset.end);
    const at = `${(100 * (Date.now() / 1000 - start)) / (end - start)}%`;
    for (const line of band.querySelectorAll(".nowline")) {
      line.setAttribute("x1", at);
      line.setAttribute("x2", at);
    }
  }
};

// The page, asked for anew.

const NOWLINE = /<line class="nowline"[^>]*><\/line>/g;
const OF_SESSION = /(<input type="hidden" name="(?:token|op)" value=")[^"]*/g;
const prints = new WeakMap();

// What a part looked like as it came, in UTC and with nothing of one session's in it: what two are compared by.
const printOf = (node) => {
  if (!prints.has(node)) prints.set(node, node.outerHTML.replace(NOWLINE, "").replace(OF_SESSION, "$1"));
  return prints.get(node);
};

const parts = (root) => root.querySelectorAll("[data-part], [data-list] > *");

// A page that is asked for anew comes bare: the same for everybody who sees the same.
const fill = (root) => {
  for (const each of root.querySelectorAll("input[name=token]")) each.value = token();
  for (const each of root.querySelectorAll("input[name=op]")) {
    each.value = [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }
};

const taken = (fresh) => {
  printOf(fresh);
  tellTimes(fresh);
  fill(fresh);
  return fresh;
};

const isBusy = (node) => node.contains(document.activeElement) && document.activeElement.closest("form") !== null
  || node.querySelector("details[open] form") !== null;

const settle = (mine, fresh) => {
  if (printOf(mine) === printOf(fresh)) return mine;
  if (isBusy(mine)) {
    mine.dataset.behind = "yes";
    return mine;
  }
  const hadFocus = mine.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
  taken(fresh);
  if (fresh.tagName === "LI" || fresh.id === "card") fresh.classList.add("fresh");
  if (hadFocus) queueMicrotask(() => fresh.querySelector(`[href="${CSS.escape(hadFocus)}"]`)?.focus());
  return fresh;
};

const renew = (next) => {
  for (const list of document.querySelectorAll("[data-list]")) {
    const fresh = next.getElementById(list.id);
    if (!fresh || !fresh.hasAttribute("data-list")) continue;
    const mine = new Map([...list.children].map((each) => [each.id, each]));
    const wanted = [...fresh.children].map((each) => (mine.has(each.id) ? settle(mine.get(each.id), each) : taken(each)));
    if (wanted.length !== list.children.length || wanted.some((each, at) => list.children[at] !== each)) list.replaceChildren(...wanted);
  }
  for (const part of document.querySelectorAll("[data-part]")) {
    const fresh = next.getElementById(part.id);
    const settled = fresh ? settle(part, fresh) : part;
    if (settled !== part) part.replaceWith(settled);
  }
  moveNow();
};

let asking = false, askAgain = false;

const askAnew = async (address = location.href) => {
  if (asking) { askAgain = true; return; }
  asking = true;
  try {
    const answer = await fetch(address, { headers: { accept: "text/html", "x-relay-anew": "yes" } });
    if (new URL(answer.url).pathname === "/enter") { location.assign("/enter"); return; }
    const next = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (!answer.ok) return;
    const lists = (page) => [...page.querySelectorAll("main [id][data-list], main [id][data-part]")].map((each) => each.id).join();
    if (lists(next) === lists(document)) renew(next);
    else if (!isBusy(document.querySelector("main"))) {
      const main = next.querySelector("main");
      parts(main).forEach(printOf);
      document.querySelector("main").replaceWith(taken(main));
      renew(next);
    }
  } catch {
    // The line to the board is cut: the events below say so, and ask again when it is back.
  } finally {
    asking = false;
    if (askAgain) { askAgain = false; askAnew(); }
  }
};

// Changes, as they come.

const SPREAD = 8; // milliseconds for each page that listens, so that fifty do not ask in the same instant

let cutSince = null;

const showCut = () => {
  const place = document.getElementById("cut");
  place.hidden = cutSince === null;
  if (cutSince) place.textContent = `No line to the board since ${clock.format(cutSince)}. This is what was known then.`;
};

let events = null;

const isCut = () => {
  cutSince = cutSince || new Date();
  showCut();
};

const listen = () => {
  let told = Number(document.body.dataset.number);
  events?.close();
  events = new EventSource("/live");
  const mine = events;
  mine.onmessage = (event) => {
    const facts = JSON.parse(event.data);
    const wasCut = cutSince !== null;
    cutSince = null;
    showCut();
    if (facts.number !== told || wasCut) { told = facts.number; setTimeout(askAnew, Math.random() * Math.min(400, SPREAD * facts.listening)); }
  };
  mine.onerror = () => {
    isCut();
    if (mine.readyState === EventSource.CLOSED) setTimeout(() => { if (mine === events) listen(); }, 3000);
  };
};

// Saying something: the page says at once that it is being said, the ledger decides.

const token = () => document.querySelector("meta[name=relay-token]").content;

const act = async (form) => {
  const button = form.querySelector("button");
  if (button.getAttribute("aria-disabled") === "true") return;
  const fields = Object.fromEntries([...new FormData(form)].filter(([name, value]) => value !== "" && name !== "token" && name !== "back"));
  button.setAttribute("aria-disabled", "true");
  say(`Saying it: ${fields.act} ${fields.job} …`);
  try {
    const answer = await fetch("/api/acts", {
      method: "POST",
      headers: { "content-type": "application/json", "x-relay-token": token() },
      body: JSON.stringify(fields),
    });
    const told = await answer.json();
    say(answer.ok ? told.words : `Not said: ${told.words}`, !answer.ok);
    const details = form.closest("details");
    if (answer.ok || answer.status === 409) {
      if (details) details.open = false;
      form.closest("li")?.focus();
    }
  } catch {
    say("No answer came. It may have been said: press again, it is said once.", true);
  } finally {
    button.removeAttribute("aria-disabled");
    askAnew();
  }
};

addEventListener("submit", (event) => {
  if (!event.target.classList.contains("act")) return;
  event.preventDefault();
  act(event.target);
});

// Searching while typing.

let typing = 0;

addEventListener("input", (event) => {
  const form = event.target.closest(".search");
  if (!form) return;
  clearTimeout(typing);
  typing = setTimeout(() => {
    const address = `${form.getAttribute("action")}?${new URLSearchParams(new FormData(form))}`;
    history.replaceState(null, "", address);
    askAnew(address);
  }, 150);
});

// The keyboard.

let isGoing = false;

const step = (by) => {
  const rows = [...document.querySelectorAll("main li a[href^='/reels/'], main .reels .key")].filter((each, at, all) =>
    at === 0 || each.closest("li") !== all[at - 1].closest("li"));
  const at = rows.findIndex((each) => each.closest("li").contains(document.activeElement));
  const next = rows[Math.max(0, Math.min(rows.length - 1, at < 0 ? (by > 0 ? 0 : rows.length - 1) : at + by))];
  next?.focus();
};

addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || event.target.closest("input, select, textarea")) return;
  if (isGoing) {
    isGoing = false;
    document.querySelector(`[data-key="${CSS.escape(event.key)}"]`)?.click();
  } else if (event.key === "g") {
    isGoing = true;
    setTimeout(() => { isGoing = false; }, 1500);
  } else if (event.key === "/") {
    const box = document.querySelector(".search input[type=search]");
    if (box) { event.preventDefault(); box.focus(); box.select(); }
  } else if (event.key === "j" || event.key === "k") {
    step(event.key === "j" ? 1 : -1);
  }
});

parts(document).forEach(printOf);
tellTimes(document);
moveNow();
setInterval(moveNow, 15_000);
setInterval(() => { if (document.visibilityState === "visible" && cutSince === null && document.body.dataset.live === "yes") askAnew(); }, 60_000);
if (document.body.dataset.live === "yes") {
  listen();
  addEventListener("offline", isCut); // a line that is cut without a word would else look whole for minutes
  addEventListener("online", listen);
  addEventListener("pagehide", () => events.close());
}
