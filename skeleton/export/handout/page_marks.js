// Part of the page's script; all parts run inside one function, see page_shell.py.

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
  openCard(element, ...also.inCard(id), group);
  element.scrollIntoView({ block: "nearest" });
  if (byKey) group.firstChild.focus({ preventScroll: true });
  else announce(fill(say.verdict, { note: `${one.name}, ${one.place}` }));
  also.opened(id);
};

const setMark = (id, says) => {
  if (!also.mayMark()) return;
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
  also.shown();
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

// What was kept in this browser, or else what the page was given.
const beginTakes = (given) => {
  const kept = store.read("takes");
  const read = kept && kept.etude === data.etude ? fromFile(kept) : given && fromFile(given);
  takes = read ? read.takes : [];
  chosen = takes.length - 1;
  for (const id of ["takes", "mark-legend"]) byId(id).hidden = false;
};
