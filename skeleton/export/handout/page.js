// Part of the page's script; all parts run inside one function, see page_shell.py.

const openNote = (element) => {
  const id = struck(element.dataset.note);
  const one = note(id);
  closeCard();
  const list = make("dl", null);
  for (const [head, text] of one.facts) list.append(make("dt", head), make("dd", text));
  const row = make("div", null, { class: "row" });
  if (one.group) {
    const next = make("button", say.next_place, { type: "button" });
    next.addEventListener("click", () => goOn(element, one.group));
    row.append(next);
    for (const other of one.group.notes) light(other, "again");
  }
  if (one.anchor) light(one.anchor, "anchor");
  light(id, "here");
  openCard(element, list, row);
  element.scrollIntoView({ block: "nearest" });
  const facts = one.facts.map((fact) => fact.join(": ")).join(". ");
  announce(fill(say.said_note, { note: one.name, place: one.place, facts }));
};

const goOn = (element, group) => {
  const picture = element.closest(".picture");
  const wanted = new Set(group.notes.map(struck));
  const there = [...picture.querySelectorAll("[data-note]")].filter(
    (one) => headOf(one) && wanted.has(struck(one.dataset.note)),
  );
  const next = there[(there.indexOf(element) + 1) % there.length];
  openNote(next);
  byId("card").querySelector(".row button").focus({ preventScroll: true });
};

for (const strong of document.querySelectorAll("[data-shows]")) {
  const id = strong.dataset.shows;
  if (!entries.has(id)) continue;
  const text = strong.textContent;
  const button = make("button", text, {
    type: "button",
    "aria-label": fill(say.show_match, { letter: text }),
  });
  button.addEventListener("click", () => {
    const section = strong.closest("section");
    const all = drawn.get(struck(id)) || [];
    const shown = all.filter((one) => one.getClientRects().length);
    const target = shown.find((one) => section.contains(one)) || shown[0];
    if (!target) return;
    target.focus();
    openNote(target);
  });
  strong.replaceChildren(button);
}

// --- stages of a passage take turns

// Boxes and rings are drawn as one path for the whole line: part it at the pale measures.
const palerFrames = (line) => {
  const spans = [];
  for (const measure of line.querySelectorAll(".pale")) {
    const lines = measure.querySelector("path[d]");
    const found = lines && /^M(-?[\d.]+) -?[\d.]+H(-?[\d.]+)/.exec(lines.getAttribute("d"));
    if (found) spans.push([Number(found[1]), Number(found[2])]);
  }
  for (const frame of line.querySelectorAll(".frame")) {
    const pieces = frame.getAttribute("d").split(/(?=M)/);
    const isPale = (piece) => {
      const x = Number.parseFloat(piece.slice(1));
      return spans.some(([left, right]) => left <= x && x < right);
    };
    const light = pieces.filter(isPale);
    if (!light.length) continue;
    frame.after(draw("path", { class: "frame pale", d: light.join("") }));
    frame.setAttribute("d", pieces.filter((piece) => !isPale(piece)).join(""));
  }
};

const pieceOfEtude = (section) => {
  const first = Number(section.dataset.first);
  const last = Number(section.dataset.last);
  const picture = make("div", null, { class: "picture", "data-picture": "all" });
  let pale = false;
  for (const line of document.querySelectorAll("#etude-lines > svg")) {
    const measures = [...line.querySelectorAll("[data-m]")].map((one) => Number(one.dataset.m));
    if (!measures.some((one) => first <= one && one <= last)) continue;
    const copy = line.cloneNode(true);
    for (const washed of copy.querySelectorAll(".wash")) washed.remove();
    for (const lit of copy.querySelectorAll("[data-note]")) lit.removeAttribute("class");
    for (const measure of copy.querySelectorAll("[data-m]")) {
      const at = Number(measure.dataset.m);
      if (first <= at && at <= last) continue;
      measure.classList.add("pale");
      pale = true;
    }
    palerFrames(copy);
    picture.append(copy);
  }
  const caption = make("figcaption", pale ? say.outside : null);
  const figure = make("figure", null, { "data-stage": "all" });
  figure.append(caption, picture);
  return figure;
};

const show = (section, stage) => {
  if (stage === "all" && !section.querySelector('[data-stage="all"]')) {
    const piece = pieceOfEtude(section);
    section.querySelector(".stages").after(piece);
    wire(piece.querySelector(".picture"));
  }
  for (const figure of section.querySelectorAll("[data-stage]")) {
    figure.hidden = figure.dataset.stage !== stage;
  }
};

const counts = byId("counts");
const blank = counts.tHead.rows[0].cells[1].textContent;
const onPaper = counts.tHead.rows[0].cells.length - 1;

const showCounts = () => {
  const columns = Math.max(onPaper, takes.length);
  const resize = (row, kind) => {
    while (row.cells.length > 1) row.cells[1].remove();
    for (let at = 0; at < columns; at += 1) {
      const head = kind === "head" && takes[at];
      row.append(make(head ? "th" : "td", null, head ? { scope: "col" } : {}));
    }
  };
  resize(counts.tHead.rows[0], "head");
  for (let at = 0; at < columns; at += 1) {
    counts.tHead.rows[0].cells[at + 1].textContent = takes[at] ? takes[at].date : blank;
  }
  data.passages.forEach(([, first, last], row) => {
    const cells = counts.tBodies[0].rows[row];
    resize(cells, "body");
    takes.forEach((take, at) => {
      const inside = [...take.marks.keys()].filter((id) => {
        const { measure } = note(id);
        return first <= measure && measure <= last;
      });
      cells.cells[at + 1].textContent = inside.length;
    });
  });
};

const showReturns = () => {
  const found = new Map();
  for (const take of takes) {
    for (const [id, says] of take.marks) {
      if (!found.has(id)) found.set(id, []);
      found.get(id).push(`${take.date} ${say[says]}`);
    }
  }
  const again = [...found].filter(([, said]) => said.length > 1);
  again.sort((a, b) => b[1].length - a[1].length);
  byId("returning-note").textContent = again.length ? say.returning_note : say.nothing_returns;
  byId("returning").replaceChildren(
    ...again.map(([id, said]) => {
      const one = note(id);
      return make("li", `${one.name}, ${one.place}: ${said.join("; ")}`);
    }),
  );
};

also.shown = () => {
  showCounts();
  showReturns();
};

// --- sounds: a drone is in the file once

for (const player of document.querySelectorAll("audio[data-same]")) {
  player.src = byId(player.dataset.same).getAttribute("src");
}
document.addEventListener(
  "error",
  (event) => {
    if (event.target.tagName !== "AUDIO") return;
    event.target.closest(".sounds").querySelector("[data-no-sound]").hidden = false;
  },
  true,
);

// --- ticks are kept too

const ticked = new Set(store.read("ticks") || []);
for (const box of document.querySelectorAll("input[data-key]")) {
  box.checked = ticked.has(box.dataset.key);
  box.addEventListener("change", () => {
    if (box.checked) ticked.add(box.dataset.key);
    else ticked.delete(box.dataset.key);
    store.write("ticks", [...ticked]);
  });
}

// --- begin

beginTakes(null);
for (const picture of document.querySelectorAll(".picture")) wire(picture);
for (const section of document.querySelectorAll(".passage")) {
  const fieldset = section.querySelector(".stages");
  fieldset.hidden = false;
  fieldset.addEventListener("change", (event) => {
    closeCard();
    show(section, event.target.value);
  });
  show(section, fieldset.querySelector("input:checked").value);
}
byId("returns").hidden = false;
showTakes();
