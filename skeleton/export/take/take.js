// Part of the page's script; all parts run inside one function, see page_shell.py.

// --- the take: a tapped note plays its moment

const BEFORE_S = 0.15; // so that the onset is heard whole
const AFTER_S = 0.15;
const LEAST_S = 0.7; // a shorter moment cannot be heard
const player = byId("take-sound");
let stopAt = Infinity;

const playMoment = (id, which = 0) => {
  const moment = (data.moments[id] || [])[which];
  const one = note(id);
  if (!moment) {
    tell(fill(say.not_played, { note: one.name, place: one.place }));
    return;
  }
  const from = Math.max(0, moment[0] - BEFORE_S);
  if (player.readyState) player.currentTime = from;
  else player.addEventListener("loadedmetadata", () => (player.currentTime = from), { once: true });
  stopAt = byId("go-on").checked ? Infinity : Math.max(moment[1] + AFTER_S, from + LEAST_S);
  announce(fill(say.plays, { note: one.name, place: one.place }));
  player.play().catch(() => {
    byId("no-sound").hidden = false;
  });
};

// What sounds at a time lights up: the last note that has begun and not ended.
const moments = Object.entries(data.moments)
  .flatMap(([id, all]) => all.map(([start, end]) => ({ id, start, end })))
  .sort((a, b) => a.start - b.start);

const soundingAt = (time) => {
  let low = 0;
  let high = moments.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (moments[middle].start <= time) low = middle + 1;
    else high = middle;
  }
  const last = moments[low - 1];
  if (!last || time > last.end) return [];
  return moments.slice(Math.max(0, low - 4), low).filter((one) => one.start === last.start);
};

let lit = "";
const follow = () => {
  const ids = player.paused ? [] : soundingAt(player.currentTime).map((one) => one.id);
  if (ids.join() === lit) return;
  for (const old of document.querySelectorAll(".sounding")) old.classList.remove("sounding");
  for (const id of ids) for (const one of drawn.get(id) || []) one.classList.add("sounding");
  lit = ids.join();
};

const step = () => {
  if (player.currentTime >= stopAt) {
    stopAt = Infinity;
    player.pause();
  }
  follow();
  if (!player.paused) requestAnimationFrame(step);
};
player.addEventListener("play", () => requestAnimationFrame(step));
player.addEventListener("pause", follow);
player.addEventListener("error", () => {
  byId("no-sound").hidden = false;
});
// Who moves the player's own knob wants to hear on.
player.addEventListener("seeking", () => {
  if (player.currentTime > stopAt) stopAt = Infinity;
});

also.inCard = (id) => {
  const row = make("div", null, { class: "row" });
  const times = data.moments[id] || [];
  times.forEach((moment, at) => {
    const text = times.length > 1 ? fill(say.play_time, { number: at + 1 }) : say.play;
    const button = make("button", text, { type: "button" });
    button.addEventListener("click", () => playMoment(id, at));
    row.append(button);
  });
  if (!shown || !data.measured[id]) return [row];
  return [row, make("p", data.measured[id][2])];
};
also.opened = (id) => playMoment(id);

for (const strong of document.querySelectorAll("[data-hear]")) {
  const id = strong.dataset.hear;
  strong.replaceChildren(hearButton(id));
}

function hearButton(id) {
  const one = note(struck(id));
  const button = make("button", one.name, {
    type: "button",
    "aria-label": `${say.play}: ${one.name}, ${one.place}`,
  });
  button.addEventListener("click", () => playMoment(struck(id)));
  return button;
}

// --- what was measured: hidden until the listener has marked

let shown = false;

also.mayMark = () => {
  if (shown) tell(say.locked);
  return !shown;
};
also.said = (id) => {
  const found = shown && data.measured[id];
  return found ? fill(say.measured_as, { said: found[2] }) : "";
};

// As skeleton.listening.ear_marks compares: what the ear said, beside a verdict.
const agreement = (ear, verdict) => {
  if (ear === "unsure" || !verdict || verdict === "cannot tell") return "open";
  if (!ear) return verdict === "in tune" ? "agreed" : "missed";
  if (verdict === "in tune") return "imagined";
  return ear === verdict ? "agreed" : "wrong direction";
};

const outcomes = () => {
  const marks = current() ? current().marks : new Map();
  const found = Object.fromEntries(Object.keys(say.kinds).map((kind) => [kind, []]));
  let alone = 0;
  for (const id of new Set([...Object.keys(data.measured), ...marks.keys()])) {
    const ear = marks.get(id) || null;
    const verdict = data.measured[id] ? data.measured[id][0] : null;
    const kind = agreement(ear, verdict);
    if (ear || kind === "missed") found[kind].push(id);
    else if (verdict === "in tune") alone += 1;
  }
  return { found, alone };
};

const counted = (found) =>
  Object.entries(say.kinds)
    .map(([kind, [heading]]) => `${heading}: ${found[kind].length}`)
    .join(", ");

const showOutcome = () => {
  const { found, alone } = outcomes();
  const marks = current() ? current().marks : new Map();
  const blocks = [make("p", `${counted(found)}.`, { class: "task" })];
  for (const [kind, [heading, meaning]] of Object.entries(say.kinds)) {
    const ids = found[kind];
    if (!ids.length) continue;
    blocks.push(make("h3", `${heading} (${ids.length})`, { "data-kind": kind }));
    blocks.push(make("p", meaning, { class: "small" }));
    const head = make("tr", null);
    for (const text of say.head) head.append(make("th", text, { scope: "col" }));
    const rows = ids.map((id) => {
      const row = make("tr", null);
      const hear = make("td", null, { "data-head": say.head[1] });
      const strong = make("strong", null);
      strong.append(hearButton(id));
      hear.append(strong);
      const you = marks.has(id) ? say[marks.get(id)] : say.nothing;
      const figures = data.measured[id] ? data.measured[id][2] : say.not_measured;
      row.append(
        make("td", note(id).place, { "data-head": say.head[0] }),
        hear,
        make("td", you, { "data-head": say.head[2] }),
        make("td", figures, { "data-head": say.head[3] }),
      );
      return row;
    });
    const table = make("table", null);
    table.append(make("thead", null), make("tbody", null));
    table.tHead.append(head);
    table.tBodies[0].append(...rows);
    const wide = make("div", null, { class: "wide" });
    wide.append(table);
    blocks.push(wide);
  }
  blocks.push(make("p", fill(say.left_alone, { notes: alone })));
  byId("outcome").replaceChildren(...blocks);
};

// --- the measured marks: a square round the head, an arrow with cents under the staff

const LINE = 360;
const WIDE = 190; // about a character at the size of these marks

const drawMeasured = (svg) => {
  for (const old of svg.querySelectorAll(".measured")) old.remove();
  const box = svg.viewBox.baseVal;
  const height = Number(svg.dataset.height || box.height);
  svg.dataset.height = String(height);
  box.height = height;
  if (!shown) return;
  const edges = [];
  const heads = [...svg.querySelectorAll("[data-note]")].filter(headOf);
  heads.sort((a, b) => place(a).x - place(b).x);
  for (const element of heads) {
    const found = data.measured[element.dataset.note];
    if (!found || !found[1]) continue;
    const { x, y } = place(element);
    const width = headOf(element).getBBox().width || 226;
    const group = draw("g", { class: "measured", "aria-hidden": "true" });
    const side = Math.max(width + 150, 350);
    const cx = x + width / 2;
    if (found[0] !== "cannot tell") {
      group.append(draw("rect", { x: cx - side / 2, y: y - side / 2, width: side, height: side }));
    }
    const half = (found[1].length * WIDE) / 2;
    let line = edges.findIndex((edge) => cx - half > edge);
    if (line < 0) line = edges.length;
    edges[line] = cx + half;
    const text = draw("text", { x: cx, y: box.y + height + (line + 1) * LINE - 60 });
    text.textContent = found[1];
    group.append(text);
    svg.append(group);
  }
  box.height = height + edges.length * LINE;
};

const showMeasured = () => {
  for (const element of document.querySelectorAll("[data-measured]")) element.hidden = !shown;
  for (const svg of document.querySelectorAll(".listening > svg")) drawMeasured(svg);
  const button = byId("compare");
  button.textContent = shown ? say.hide : say.compare;
  button.setAttribute("aria-expanded", String(shown));
  if (shown) showOutcome();
  else byId("outcome").replaceChildren();
};

also.shown = showMeasured;

byId("compare").addEventListener("click", () => {
  const marked = current() && current().marks.size;
  if (!shown && !marked && !confirm(say.no_marks_sure)) return;
  shown = !shown;
  closeCard();
  showTakes();
  if (!shown) {
    tell(say.hidden);
    return;
  }
  tell(fill(say.shown, { counts: counted(outcomes().found) }));
  byId("compared-title").scrollIntoView({ block: "start" });
});

// On paper nothing can be opened.
addEventListener("beforeprint", () => {
  for (const details of document.querySelectorAll("details")) details.open = true;
});

// --- begin

beginTakes(data.given);
for (const picture of document.querySelectorAll(".picture[data-picture]")) wire(picture);
for (const id of ["go-on-choice", "compare-row"]) byId(id).hidden = false;
showTakes();
