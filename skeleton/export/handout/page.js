"use strict";
(() => {
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

  // --- what is kept in the browser, where it allows that

  const store = {
    key: (what) => `etude-skeleton:${what}:${data.etude}`,
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
    return says ? fill(say.marked, { note: plain, says: say[says] }) : plain;
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

  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !byId("card").hidden) leaveCard();
  });

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

  // --- takes and marks

  const KEYS = { "-": "flat", "−": "flat", "+": "sharp", "?": "unsure", Delete: null, Backspace: null };
  let takes = [];
  let chosen = -1;
  const current = () => takes[chosen];
  const today = () => {
    const now = new Date();
    const two = (number) => String(number).padStart(2, "0");
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  };

  const isDate = (text) => {
    if (typeof text !== "string" || !/^\d{4}-\d{2}-\d{2}$/.test(text)) return false;
    const date = new Date(`${text}T00:00:00Z`);
    return !Number.isNaN(date.getTime()) && date.toISOString().startsWith(text);
  };

  const asFile = () => ({
    format: 1,
    etude: data.etude,
    takes: takes.map((take) => ({
      date: take.date,
      marks: [...take.marks].map(([id, says]) => ({ note: id, says })),
    })),
  });

  // Returns takes and the number of marks left out; null where this is no such file.
  const fromFile = (found) => {
    if (!found || found.format !== 1 || typeof found.etude !== "string") return null;
    if (!Array.isArray(found.takes)) return null;
    let unknown = 0;
    const read = [];
    for (const take of found.takes) {
      if (!take || !isDate(take.date) || !Array.isArray(take.marks)) return null;
      const marks = new Map();
      for (const mark of take.marks) {
        if (!mark || typeof mark.note !== "string" || !VERDICTS.includes(mark.says)) return null;
        if (entries.has(mark.note)) marks.set(struck(mark.note), mark.says);
        else unknown += 1;
      }
      read.push({ date: take.date, marks });
    }
    return { takes: read, unknown };
  };

  const keep = () => {
    if (!store.write("takes", asFile())) tell(say.said_not_kept);
  };
  const tell = (text) => {
    byId("told").textContent = text;
    announce(text);
  };

  const openVerdict = (element, byKey) => {
    const id = struck(element.dataset.note);
    const one = note(id);
    closeCard();
    light(id, "here");
    for (const other of drawn.get(id)) {
      if (!element.closest(".picture").contains(other)) other.classList.remove("here");
    }
    const group = make("div", null, {
      class: "verdicts",
      role: "group",
      "aria-label": fill(say.verdict, { note: one.name }),
    });
    const says = current() && current().marks.get(id);
    for (const verdict of [...VERDICTS, null]) {
      const button = make("button", verdict ? say[verdict] : say.none, {
        type: "button",
        "aria-pressed": String((says || null) === verdict),
      });
      button.addEventListener("click", () => {
        setMark(id, verdict);
        leaveCard();
      });
      group.append(button);
    }
    openCard(element, group);
    element.scrollIntoView({ block: "nearest" });
    if (byKey) group.firstChild.focus({ preventScroll: true });
    else announce(fill(say.verdict, { note: `${one.name}, ${one.place}` }));
  };

  const setMark = (id, says) => {
    if (!current()) addTake(today());
    if (says) current().marks.set(id, says);
    else current().marks.delete(id);
    showTakes();
    const one = note(id);
    const form = says ? say.said_mark : say.said_cleared;
    const marks = current().marks.size;
    tell(fill(form, { note: one.name, place: one.place, says: say[says], marks }));
    keep();
  };

  const addTake = (date) => {
    takes.push({ date, marks: new Map() });
    chosen = takes.length - 1;
  };

  const sortTakes = () => {
    const held = current();
    takes.sort((a, b) => (a.date < b.date ? -1 : a.date > b.date ? 1 : 0));
    chosen = takes.indexOf(held);
  };

  const drawMarks = () => {
    const picture = document.querySelector(".listening");
    for (const old of picture.querySelectorAll(".mark")) old.remove();
    for (const element of picture.querySelectorAll('[data-note][role="button"]')) {
      const id = struck(element.dataset.note);
      element.setAttribute("aria-label", label(id, true));
      if (id !== element.dataset.note) continue;
      const says = current() && current().marks.get(id);
      if (!says) continue;
      const svg = element.ownerSVGElement;
      const { x, y } = place(element);
      const width = headOf(element).getBBox().width || 226;
      const cx = x + width / 2;
      const top = svg.viewBox.baseVal.y + 90;
      const group = draw("g", { class: `mark ${says}`, "aria-hidden": "true" });
      group.append(draw("circle", { cx, cy: y, r: Math.max(width / 2 + 85, 190) }));
      if (says === "unsure") {
        const sign = draw("text", { x: cx, y: top + 400 });
        sign.textContent = "?";
        group.append(sign);
      } else {
        const [tip, tail, side] =
          says === "sharp" ? [top, top + 430, 150] : [top + 430, top, -150];
        const d = `M${cx} ${tail}V${tip}M${cx - 130} ${tip + side}L${cx} ${tip}L${cx + 130} ${tip + side}`;
        group.append(draw("path", { d }));
      }
      svg.append(group);
    }
  };

  const showTakes = () => {
    const select = byId("take");
    select.replaceChildren(
      ...takes.map((take, at) => {
        const text = fill(say.take_option, { date: take.date, marks: take.marks.size });
        const option = make("option", text, { value: at });
        option.selected = at === chosen;
        return option;
      }),
    );
    select.disabled = !takes.length;
    byId("drop-take").disabled = !takes.length;
    byId("save").disabled = !takes.length;
    byId("take-date").value = current() ? current().date : today();
    drawMarks();
    showCounts();
    showReturns();
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

  byId("take").addEventListener("change", (event) => {
    chosen = Number(event.target.value);
    closeCard();
    showTakes();
    tell(fill(say.said_take, { date: current().date, marks: current().marks.size }));
  });
  byId("take-date").addEventListener("change", (event) => {
    if (!isDate(event.target.value)) return;
    if (!current()) addTake(event.target.value);
    current().date = event.target.value;
    sortTakes();
    showTakes();
    tell(fill(say.said_take, { date: current().date, marks: current().marks.size }));
    keep();
  });
  byId("new-take").addEventListener("click", () => {
    closeCard();
    addTake(today());
    sortTakes();
    showTakes();
    tell(fill(say.said_take, { date: current().date, marks: 0 }));
    keep();
  });
  byId("drop-take").addEventListener("click", () => {
    const { date } = current();
    if (!confirm(fill(say.drop_sure, { date }))) return;
    closeCard();
    takes.splice(chosen, 1);
    chosen = takes.length - 1;
    showTakes();
    tell(fill(say.said_dropped, { date }));
    keep();
    byId("new-take").focus();
  });
  byId("save").addEventListener("click", () => {
    const text = `${JSON.stringify(asFile(), null, 1)}\n`;
    const address = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    const file = `${data.file}-marks.json`;
    const link = make("a", null, { href: address, download: file });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 1000);
    tell(fill(say.said_saved, { file }));
  });
  byId("load").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    let found = null;
    try {
      found = JSON.parse(await file.text());
    } catch {
      // said below
    }
    event.target.value = "";
    const read = fromFile(found);
    if (!read) {
      tell(fill(say.said_not_marks, { file: file.name }));
      return;
    }
    if (found.etude !== data.etude) {
      tell(fill(say.said_other_etude, { file: file.name }));
      return;
    }
    const print = (take) => JSON.stringify([take.date, [...take.marks].sort()]);
    const known = new Set(takes.map(print));
    const fresh = read.takes.filter((take) => !known.has(print(take)));
    takes.push(...fresh);
    if (fresh.length) chosen = takes.length - 1;
    sortTakes();
    closeCard();
    showTakes();
    const marks = fresh.reduce((sum, take) => sum + take.marks.size, 0);
    let text = fill(say.said_loaded, { takes: fresh.length, marks });
    if (read.unknown) text += ` ${fill(say.said_unknown, { marks: read.unknown })}`;
    tell(text);
    keep();
  });

  // --- sounds: one at a time; a drone is in the file once

  for (const player of document.querySelectorAll("audio[data-same]")) {
    player.src = byId(player.dataset.same).getAttribute("src");
  }
  document.addEventListener(
    "play",
    (event) => {
      for (const player of document.querySelectorAll("audio")) {
        if (player !== event.target) player.pause();
      }
    },
    true,
  );
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

  const kept = store.read("takes");
  const read = kept && kept.etude === data.etude ? fromFile(kept) : null;
  takes = read ? read.takes : [];
  chosen = takes.length - 1;
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
  for (const id of ["takes", "mark-legend", "returns"]) byId(id).hidden = false;
  showTakes();
})();
