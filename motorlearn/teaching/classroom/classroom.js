// The class experiment as a page: seat, floor, handing in. The floor itself is the notebook's.

const hall = JSON.parse(document.getElementById("data").textContent);
const at = (id) => document.getElementById(id);
const clock = () => Date.now() / 1000;
const me = Math.random().toString(36).slice(2);

// What this browser keeps; where it keeps nothing, that is said and the sitting goes on.
const store = {
  works: true,
  key: (seat, what = "") => `class-experiment-${hall.class_seed}-${seat}${what}`,
  read(key) {
    try { return JSON.parse(window.localStorage.getItem(key)); } catch { return null; }
  },
  write(key, value) {
    try { window.localStorage.setItem(key, JSON.stringify(value)); } catch { this.works = false; }
    at("storage-said").hidden = this.works;
    at("storage-said").textContent = this.works ? "" : hall.words.forgetful;
  },
  remove(key) { try { window.localStorage.removeItem(key); } catch { this.works = false; } },
};

// What the floor talks to in place of a kernel.
class Model {
  constructor(sitting) {
    this.sitting = sitting;
    this.hearers = { "change:screen": new Set(), "msg:custom": new Set() };
    store.write(store.key(sitting.seat, "-tab"), me);
    this.look();
  }

  get here() {
    const owner = store.read(store.key(this.sitting.seat, "-tab"));
    return owner === null || owner === me || !store.works;
  }

  look() {
    const { sitting, here } = this;
    this.screen = here ? sitting.screen(clock())
      : { page: "elsewhere", made: sitting.landings.length, participant: sitting.participant,
        words: hall.words.elsewhere };
  }

  get() { return this.screen; }
  on(name, hearer) { this.hearers[name].add(hearer); }
  off(name, hearer) { this.hearers[name].delete(hearer); }
  tell(name, message) { this.hearers[name].forEach((hearer) => hearer(message)); }

  changed() {
    this.look();
    this.tell("change:screen");
  }

  send({ event, ...content }) {
    const { sitting } = this;
    let answer = null;
    if (!this.here) answer = { kind: "refused", words: "Not counted: see above." };
    else if (event === "agree" && sitting.consent === null) sitting.agree(clock());
    else if (event === "withdraw") sitting.withdraw();
    else if (event === "push") {
      const refused = sitting.push(content, clock());
      answer = refused ? { kind: "refused", words: `Not counted: ${refused}` }
        : { kind: "outcome", ...sitting.outcome() };
    }
    if (this.here) keep(sitting);
    this.changed();
    if (answer) this.tell("msg:custom", answer);
  }
}

function keep(sitting) {
  const key = store.key(sitting.seat);
  if (sitting.consent) {
    store.write(key, sitting.kept());
    store.write(store.key("last"), sitting.seat);
  } else if (sitting.consent === false) {
    store.remove(key);
    if (store.read(store.key("last")) === sitting.seat) store.remove(store.key("last"));
  }
}

let model = null, leave = null, handing = false;

function sit(seat, taken = null) {
  if (leave) leave();
  const kept = store.read(store.key(seat)) || {};
  const sitting = taken || new Sitting(hall, seat, kept);
  if (taken) keep(taken);
  model = new Model(sitting);
  at("floor-step").replaceChildren();
  handing = false;
  leave = render({ model, el: at("floor-step") });
  const root = document.querySelector(".ml-aim"), buttons = document.querySelector(".ml-aim-buttons");
  new MutationObserver(arrange).observe(root, { attributeFilter: ["data-page", "data-made"] });
  for (const [name, words, act] of [
    ["hand-in", "Hand in", () => { handing = true; arrange(); at("result-title").focus(); }],
    ["other-seat", "Another seat", stand],
    ["take-over", "Go on in this tab", () => sit(seat)],
  ]) {
    const button = element("button", `hall-${name}`, buttons, words);
    button.type = "button";
    button.addEventListener("click", act);
  }
  window.history.replaceState(null, "", `#seat=${seat}`);
  arrange();
  const first = document.querySelector(model.screen.page === "floor" ? ".ml-aim-floor" : ".ml-aim-heading");
  first.focus({ preventScroll: true });
}

function stand() {
  if (leave) leave();
  leave = model = null;
  handing = false;
  window.history.replaceState(null, "", "#");
  arrange();
  at("seat").value = "";
  at("seat").focus();
}

// Show what belongs to the step: the seat, the floor, or handing in.
function arrange() {
  const page = model ? document.querySelector(".ml-aim").dataset.page : "seat";   // once it is drawn
  const made = model ? model.sitting.landings.length : 0;
  const result = ["pause", "end"].includes(page) || (page === "floor" && handing && made > 0);
  const step = !model ? "seat" : result ? "result" : "floor";
  at("hall").dataset.step = step;
  at("hall").dataset.page = page;
  at("seat-step").hidden = step !== "seat";
  at("floor-step").hidden = step === "seat" || (result && page === "floor");
  at("result-step").hidden = !result;
  if (!model) { greet(); return; }
  const show = (name, shown) => { document.querySelector(`.hall-${name}`).hidden = !shown; };
  show("hand-in", page === "floor" && made > 0);
  show("other-seat", ["consent", "left", "elsewhere"].includes(page));
  show("take-over", page === "elsewhere");
  if (!result) return;
  at("back").hidden = page !== "floor";
  at("pause-tools").hidden = !(page === "pause" && hall.gap > hall.shortest && !model.sitting.opened);
  at("send").hidden = !hall.sends;
  at("result-words").textContent =
    `Seat ${model.sitting.seat}: ${made} of ${model.sitting.pushes.length} pushes. ${hall.words.result}`;
  at("code").replaceChildren(...model.sitting.code().split("-").map((group) => {
    const part = document.createElement("span");
    part.textContent = group;
    return part;
  }));
}

function greet() {
  const seat = store.read(store.key("last"));
  const kept = seat && store.read(store.key(seat));
  at("known").hidden = !kept;
  if (kept) at("go-on").textContent =
    `Go on with seat ${seat} (${kept.landings.length} of ${hall.steps.length} pushes made)`;
  at("go-on").onclick = () => sit(seat);
}

function refuse(words) {
  at("seat-said").hidden = !words;
  at("seat-said").textContent = words;
}

function choose(text) {
  const seat = Number(text);
  const good = text.trim() !== "" && Number.isInteger(seat) && seat >= 1 && seat <= hall.programmes.length;
  refuse(good ? "" : `A seat has a whole number from 1 to ${hall.programmes.length}${text.trim() ? `, not ${text.trim().slice(0, 12)}` : ""}.`);
  if (good) sit(seat);
}

at("seat-form").noValidate = true;
at("seat-form").addEventListener("submit", (event) => { event.preventDefault(); choose(at("seat").value); });

at("take-up").addEventListener("change", async () => {
  const file = at("take-up").files[0];
  if (!file) return;
  at("take-up").value = "";
  if (file.size > 200000) { refuse("This file is too large to be one sitting."); return; }
  const text = await file.text();
  const named = /\r?\nS(\d{3}),/.exec(text);
  const seat = named ? Number(named[1]) : 0;
  if (!(seat >= 1 && seat <= hall.programmes.length)) { refuse("This is no file of a seat of this class."); return; }
  const sitting = new Sitting(hall, seat, store.read(store.key(seat)) || {});
  const problem = sitting.takeUp(text, file.lastModified / 1000);
  refuse(problem);
  if (!problem) sit(seat, sitting);
});

const say = (words) => { at("result-said").textContent = words; };

at("save").addEventListener("click", () => {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([model.sitting.csv()], { type: "text/csv" }));
  link.download = `class-experiment-${model.sitting.participant}.csv`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  say(`Saved as ${link.download}, where this browser keeps downloads.`);
});

at("copy").addEventListener("click", async () => {
  try {
    await navigator.clipboard.writeText(model.sitting.code());
    say("The code is copied.");
  } catch {
    window.getSelection().selectAllChildren(at("code"));
    say("The code is marked: copy it with the keys or the menu of your device.");
  }
});

at("send").addEventListener("click", async () => {
  at("send").disabled = true;
  say("Sending…");
  try {
    const answer = await fetch("result", { method: "POST", body: model.sitting.csv(), headers: { "Content-Type": "text/csv" } });
    say(await answer.text());
  } catch {
    say("The lecturer's computer does not answer. Save your file or give the code instead.");
  }
  at("send").disabled = false;
});

at("back").addEventListener("click", () => {
  handing = false;
  arrange();
  document.querySelector(".ml-aim-floor").focus({ preventScroll: true });
});

at("open-now").addEventListener("click", () => {
  if (!window.confirm("Has the lecturer said that the test begins now?")) return;
  model.sitting.opened = true;
  keep(model.sitting);
  model.changed();
});

// Another tab took the seat, or this one came back to the front.
window.addEventListener("storage", () => { if (model) model.changed(); else greet(); });
document.addEventListener("visibilitychange", () => {
  if (!document.hidden && model && model.screen.page !== "floor") model.changed();
});

const fromLink = () => /(?:^#|&)seat=([^&]*)/.exec(window.location.hash);
window.addEventListener("hashchange", () => { const link = fromLink(); if (link) choose(decodeURIComponent(link[1])); });

at("cautions").append(...hall.cautions.map((words) => {
  const item = document.createElement("li");
  item.textContent = words;
  return item;
}));
at("seat").max = hall.programmes.length;
const link = fromLink();
arrange();
if (link) choose(decodeURIComponent(link[1]));
document.documentElement.dataset.ready = "true";
