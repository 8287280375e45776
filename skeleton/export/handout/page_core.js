// Part of the page's script; all parts run inside one function, see page_shell.py.

const data = JSON.parse(document.getElementById("etude-data").textContent);
const say = data.say;
const VERDICTS = ["flat", "sharp", "unsure"];
const SVG = "http://www.w3.org/2000/svg";
const byId = (id) => document.getElementById(id);
const fill = (form, values) =>
  form.replace(/\{(\w+)\}/g, (all, name) => (name in values ? String(values[name]) : all));
const make = (name, text, attributes = {}) => {
  const element = document.createElement(name);
  if (text !== null) element.textContent = text;
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
};
const draw = (name, attributes) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
};
document.documentElement.classList.add("js");

// --- notes

const entries = new Map(Object.entries(data.notes));
// A tied continuation belongs to the note that was struck.
const struck = (id) => (typeof entries.get(id) === "string" ? entries.get(id) : id);
const note = (id) => {
  const [name, place, measure, facts, group, anchor] = entries.get(id);
  return { name, place, measure, facts: data.facts[facts], group: data.groups[group], anchor };
};
const drawn = new Map(); // id -> all its drawings
const headOf = (element) => element.querySelector("use.head[x], .head use[x]");
const place = (element) => {
  const head = headOf(element);
  return { x: Number(head.getAttribute("x")), y: Number(head.getAttribute("y")) };
};

const announce = (text) => {
  byId("status").textContent = text;
};

// What a page adds of its own to the listener's marks.
const also = {
  inCard: () => [], // elements at the head of a note's card, by its id
  opened: () => {}, // a note was chosen
  mayMark: () => true, // says itself why not
  said: () => "", // what is said of a note besides
  shown: () => {}, // marks or takes have changed
};

// --- what is kept in the browser, where it allows that

const store = {
  key: (what) =>
    ["etude-skeleton", what, data.etude, data.recording].filter((one) => one).join(":"),
  read(what) {
    try {
      return JSON.parse(localStorage.getItem(this.key(what)));
    } catch {
      return null;
    }
  },
  write(what, value) {
    try {
      localStorage.setItem(this.key(what), JSON.stringify(value));
      return true;
    } catch {
      return false;
    }
  },
};

// --- pictures: one tab stop each, arrow keys inside, a tap takes the nearest note

const REACH_PX = 32;

const wire = (picture) => {
  const listening = picture.dataset.picture === "listening";
  const lines = [];
  for (const svg of picture.querySelectorAll(":scope > svg")) {
    const notes = [...svg.querySelectorAll("[data-note]")].filter(headOf);
    notes.sort((a, b) => place(a).x - place(b).x || place(b).y - place(a).y);
    if (!notes.length) continue;
    svg.setAttribute("role", "group");
    for (const element of notes) {
      const id = struck(element.dataset.note);
      if (!drawn.has(id)) drawn.set(id, []);
      drawn.get(id).push(element);
      element.setAttribute("role", "button");
      element.setAttribute("tabindex", "-1");
      element.setAttribute("aria-label", label(id, listening));
      const { x, y } = place(element);
      const wash = { class: "wash", x: x - 75, y: y - 190, width: 380, height: 380, rx: 90 };
      element.prepend(draw("rect", wash));
    }
    lines.push(notes);
    svg.addEventListener("click", (event) => {
      const nearest = near(notes, event);
      if (!nearest) return;
      nearest.focus({ preventScroll: true });
      (listening ? openVerdict : openNote)(nearest, false);
    });
  }
  if (!lines.length) return;
  const stop = (element) => {
    for (const other of picture.querySelectorAll('[tabindex="0"]')) {
      other.setAttribute("tabindex", "-1");
    }
    element.setAttribute("tabindex", "0");
  };
  stop(lines[0][0]);
  picture.addEventListener("focusin", (event) => {
    if (event.target.dataset.note) stop(event.target);
  });
  picture.addEventListener("keydown", (event) => {
    const element = event.target;
    if (!element.dataset.note || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key === "Enter" || event.key === " ") {
      (listening ? openVerdict : openNote)(element, true);
    } else if (listening && event.key in KEYS) {
      setMark(struck(element.dataset.note), KEYS[event.key]);
    } else {
      const next = neighbour(lines, element, event.key);
      if (!next) return;
      next.focus();
    }
    event.preventDefault();
  });
};

const near = (notes, event) => {
  let best = null;
  let least = REACH_PX;
  for (const element of notes) {
    const box = headOf(element).getBoundingClientRect();
    const across = event.clientX - (box.left + box.width / 2);
    const down = event.clientY - (box.top + box.height / 2);
    // A finger may well land on the stem: height counts half.
    const distance = Math.hypot(across, down / 2);
    if (distance < least) [best, least] = [element, distance];
  }
  return best;
};

const neighbour = (lines, element, key) => {
  const line = lines.findIndex((one) => one.includes(element));
  const at = lines[line].indexOf(element);
  const flat = lines.flat();
  if (key === "ArrowRight") return flat[flat.indexOf(element) + 1];
  if (key === "ArrowLeft") return flat[flat.indexOf(element) - 1];
  if (key === "Home") return lines[line][0];
  if (key === "End") return lines[line].at(-1);
  if (key !== "ArrowUp" && key !== "ArrowDown") return null;
  const other = lines[line + (key === "ArrowUp" ? -1 : 1)];
  if (!other) return null;
  const x = place(lines[line][at]).x;
  return other.reduce((a, b) => (Math.abs(place(b).x - x) < Math.abs(place(a).x - x) ? b : a));
};

const label = (id, listening) => {
  const one = note(id);
  const plain = `${one.name}, ${one.place}`;
  if (!listening) return `${plain}, ${one.facts[0].join(": ")}`;
  const says = current() && current().marks.get(id);
  const marked = says ? fill(say.marked, { note: plain, says: say[says] }) : plain;
  return marked + also.said(id);
};

// --- the card of a note

let back = null; // where the focus came from

const closeCard = () => {
  for (const name of ["here", "again", "anchor"]) {
    for (const element of document.querySelectorAll(`.${name}`)) element.classList.remove(name);
  }
  byId("card").hidden = true;
  document.documentElement.classList.remove("card-open");
};

const light = (id, name) => {
  for (const element of drawn.get(struck(id)) || []) element.classList.add(name);
};

const openCard = (element, ...content) => {
  const id = struck(element.dataset.note);
  const one = note(id);
  const title = make("h2", one.name);
  title.append(make("small", one.place));
  const close = make("button", say.close, { type: "button" });
  close.addEventListener("click", leaveCard);
  const head = make("div", null, { class: "head-row" });
  head.append(title, close);
  byId("card").replaceChildren(head, ...content);
  byId("card").hidden = false;
  byId("card").scrollTop = 0;
  document.documentElement.classList.add("card-open");
  back = element;
};

const leaveCard = () => {
  closeCard();
  if (back && back.isConnected) back.focus({ preventScroll: true });
};

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && !byId("card").hidden) leaveCard();
});

// --- sounds: one at a time

document.addEventListener(
  "play",
  (event) => {
    for (const player of document.querySelectorAll("audio")) {
      if (player !== event.target) player.pause();
    }
  },
  true,
);
