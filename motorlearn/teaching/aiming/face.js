// Draws the floor and listens to the push. What is decided and kept is decided and kept in Python.

const WIDTH = 400, HEIGHT = 600, BELOW = 70;      // floor in cm; the start mark is BELOW the bottom
const LINE = 90;                                  // the ring leaves the paddle here
const RING = 14, GRAB = 45, WINDOW = 80;          // cm, cm, ms
const KEY_START = 150, KEY_GROWTH = 900, KEY_LONGEST = 2;
const PAPER = "#f6f3ec", INK = "#222222", RING_COLOUR = "#8a3b12", TARGET = "#10386f";
const still = () => window.matchMedia("(prefers-reduced-motion: reduce)").matches;

function element(tag, className, parent, text = "") {
  const made = document.createElement(tag);
  made.className = className;
  made.textContent = text;
  parent.append(made);
  return made;
}

class Floor {
  constructor(canvas) {
    this.canvas = canvas;
    const ratio = window.devicePixelRatio || 1;
    canvas.width = WIDTH * ratio;
    canvas.height = HEIGHT * ratio;
    this.pen = canvas.getContext("2d");
    this.pen.scale(ratio, ratio);
  }

  place([x, y]) { return [WIDTH / 2 + x, HEIGHT - BELOW - y]; }

  fromEvent(event) {
    const box = this.canvas.getBoundingClientRect();
    const x = (event.clientX - box.left) * WIDTH / box.width - WIDTH / 2;
    const y = HEIGHT - BELOW - (event.clientY - box.top) * HEIGHT / box.height;
    return [x, y];
  }

  line(from, to, width, colour, dashes = []) {
    const pen = this.pen;
    pen.beginPath();
    pen.setLineDash(dashes);
    pen.moveTo(...this.place(from));
    pen.lineTo(...this.place(to));
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.stroke();
    pen.setLineDash([]);
  }

  circle(at, radius, colour, filled) {
    const pen = this.pen;
    pen.beginPath();
    pen.arc(...this.place(at), radius, 0, 2 * Math.PI);
    if (filled) { pen.fillStyle = colour; pen.fill(); }
    else { pen.lineWidth = 7; pen.strokeStyle = colour; pen.stroke(); }
  }

  draw(screen, state) {
    const pen = this.pen;
    pen.fillStyle = PAPER;
    pen.fillRect(0, 0, WIDTH, HEIGHT);
    this.line([-200, LINE], [200, LINE], 2, "#8c8c8c", [4, 6]);
    this.circle(screen.target, screen.radius, TARGET, true);
    this.circle(screen.target, 4, PAPER, true);
    if (screen.board !== null) this.line([screen.board, -BELOW], [screen.board, 530], 8, INK);
    if (screen.wall) {
      const [left, right, y] = screen.wall;
      this.line([left, y], [right, y], 12, INK);
    }
    if (screen.bar !== null) this.line([-200, screen.bar], [200, screen.bar], 6, INK, [18, 8]);
    if (state.aim !== null) {
      const angle = state.aim * Math.PI / 180;
      const end = [90 * Math.sin(angle), 90 * Math.cos(angle)];
      this.line([0, 0], end, 3, RING_COLOUR, [6, 5]);
    }
    if (state.charge > 0) {
      pen.fillStyle = RING_COLOUR;
      pen.fillRect(8, HEIGHT - 12 - 200 * state.charge, 14, 200 * state.charge);
      pen.strokeStyle = INK;
      pen.lineWidth = 1.5;
      pen.strokeRect(8, HEIGHT - 212, 14, 200);
    }
    if (state.ring) {
      this.circle(state.ring, RING, RING_COLOUR, false);
      if (state.paddle) {
        const [x, y] = state.ring;
        this.line([x - 26, y - 22], [x + 26, y - 22], 9, "#5a5a5a");
      }
    }
  }
}

// Speed and direction of the last WINDOW milliseconds of the way, or of its last step where a slow
// screen reported nothing else in that time.
function release(way) {
  const last = way[way.length - 1];
  const recent = way.findIndex((spot) => last.t - spot.t <= WINDOW);
  const first = way[Math.max(0, Math.min(recent, way.length - 2))];
  const dx = last.x - first.x, dy = last.y - first.y, dt = (last.t - first.t) / 1000;
  if (dt <= 0) return null;
  return {
    direction: Math.atan2(dx, dy) * 180 / Math.PI,
    speed: Math.hypot(dx, dy) / dt,
    time: (last.t - way[0].t) / 1000,
  };
}

function span(seconds) {
  for (const [unit, words] of [[86400, "days"], [3600, "hours"], [60, "minutes"]]) {
    if (seconds > 10 * unit || (unit > 60 && seconds > 2 * unit)) return `${Math.round(seconds / unit)} ${words}`;
  }
  return `${Math.ceil(seconds / 10) * 10} seconds`;
}

function along(path, share) {
  const steps = path.slice(1).map((to, i) => Math.hypot(to[0] - path[i][0], to[1] - path[i][1]));
  let left = share * steps.reduce((a, b) => a + b, 0);
  for (let i = 0; i < steps.length; i++) {
    if (left <= steps[i] && steps[i] > 0) {
      const part = left / steps[i];
      return [0, 1].map((k) => path[i][k] + part * (path[i + 1][k] - path[i][k]));
    }
    left -= steps[i];
  }
  return path[path.length - 1];
}

function render({ model, el }) {
  const root = element("section", "ml-aim", el);
  root.setAttribute("aria-label", "Class experiment: push the ring to the disc");
  const heading = element("p", "ml-aim-heading", root);
  const words = element("p", "ml-aim-words", root);
  const canvas = element("canvas", "ml-aim-floor", root);
  const said = element("p", "ml-aim-said", root);
  const keys = element("p", "ml-aim-keys", root,
    "Pointer or finger: take the ring and push it over the dashed line. Keyboard: click the floor " +
    "or tab to it, turn with the left and right arrows, hold the space bar for speed, let go.");
  const buttons = element("p", "ml-aim-buttons", root);
  const agree = element("button", "ml-aim-agree", buttons, "I agree, start");
  const decline = element("button", "ml-aim-decline", buttons, "I do not take part");
  const withdraw = element("button", "ml-aim-withdraw", buttons, "Withdraw and delete my pushes");
  for (const region of [heading, said]) {
    region.setAttribute("role", "status");
    region.setAttribute("aria-live", "polite");
  }
  canvas.tabIndex = 0;
  heading.tabIndex = -1;
  canvas.setAttribute("role", "application");
  // A stray letter must not reach the notebook, where "d d" deletes the cell.
  root.addEventListener("keydown", (event) => {
    if (!event.ctrlKey && !event.metaKey && !event.altKey) event.stopPropagation();
  });

  const floor = new Floor(canvas);
  const fresh = () => ({ ring: [0, 0], paddle: true, aim: null, charge: 0 });
  let state = fresh(), way = null, hand = null, busy = false, held = null, frame = 0, pause = 0;
  const send = (content) => model.send(content);
  const screen = () => model.get("screen");
  const paint = () => { if (screen().page === "floor") floor.draw(screen(), state); };

  function show() {
    const now = screen(), onFloor = now.page === "floor";
    const focused = root.contains(document.activeElement) ? document.activeElement : null;
    root.dataset.page = now.page;
    root.dataset.busy = busy;
    root.dataset.made = now.made;
    root.dataset.task = now.task || "";
    root.dataset.phase = now.phase || "";
    heading.textContent = now.heading || `Seat ${now.participant}`;
    words.textContent = now.words;
    canvas.hidden = keys.hidden = !onFloor;
    agree.hidden = decline.hidden = now.page !== "consent";
    withdraw.hidden = now.page === "consent" || now.page === "left";
    if (onFloor) canvas.setAttribute("aria-label", `${now.heading}. ${now.words}`);
    const lost = focused && (focused.offsetParent === null || focused === heading);
    if (lost) (onFloor ? canvas : heading).focus();
    if (now.page === "pause") countDown(now.wait);
    state = fresh();
    paint();
  }

  function countDown(seconds) {
    clearInterval(pause);
    const end = Date.now() + 1000 * seconds;          // a tab in the back ticks late
    const tick = () => {
      const left = (end - Date.now()) / 1000;
      said.textContent = left > 0 ? `Still ${span(left)}.` : "";
      if (left <= 0) { clearInterval(pause); send({ event: "look" }); }
    };
    tick();
    pause = setInterval(tick, 1000);
  }

  function push(made, device) {
    if (!made || made.speed < 40 || Math.abs(made.direction) > 90) {
      said.textContent = "That was no push. Take the ring and push it away from you.";
      state = fresh();
      paint();
      return;
    }
    busy = true;
    root.dataset.busy = busy;
    send({ event: "push", ...made, speed: Math.min(made.speed, 2400), device });
  }

  function finish(path, shown) {
    const start = performance.now(), last = still() ? 0 : 500;
    const turn = () => {
      const share = Math.min(1, (performance.now() - start) / Math.max(last, 1));
      const eased = 1 - (1 - share) ** 2;
      state = { ...fresh(), paddle: false, ring: shown ? along(path, eased) : null };
      paint();
      if (share < 1) frame = requestAnimationFrame(turn);
      else setTimeout(() => { busy = false; show(); }, shown ? 900 : 250);
    };
    turn();
  }

  // One hand at a time: a second finger or another button neither takes the ring nor lets it go.
  const pushing = (event) => way !== null && event.pointerId === hand;
  canvas.addEventListener("pointerdown", (event) => {
    const [x, y] = floor.fromEvent(event);
    if (busy || way || event.button !== 0 || Math.hypot(x, y) > GRAB) return;
    event.preventDefault();
    canvas.focus({ preventScroll: true });
    canvas.setPointerCapture(event.pointerId);
    hand = event.pointerId;
    way = [{ x, y, t: event.timeStamp }];
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!pushing(event)) return;
    const [x, y] = floor.fromEvent(event);
    way.push({ x, y, t: event.timeStamp });
    state = { ...state, ring: [x, y] };
    paint();
    if (y > LINE) letGo(event);
  });
  canvas.addEventListener("pointerup", (event) => { if (pushing(event)) letGo(event); });
  canvas.addEventListener("pointercancel", (event) => {
    if (!pushing(event)) return;
    way = null;
    state = fresh();
    paint();
  });
  canvas.addEventListener("contextmenu", (event) => {     // a finger that rests asks for the menu
    event.preventDefault();
    event.stopPropagation();
  });
  function letGo(event) {
    const made = release(way);
    way = null;
    push(made, ["touch", "pen"].includes(event.pointerType) ? event.pointerType : "mouse");
  }

  const charged = () => Math.min((performance.now() - held) / 1000, KEY_LONGEST);
  function grow() {
    if (held === null) return;
    state = { ...state, charge: Math.max(0.01, charged() / KEY_LONGEST) };
    paint();
    frame = requestAnimationFrame(grow);
  }
  canvas.addEventListener("keydown", (event) => {
    const turn = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (turn === undefined && event.key !== " ") return;
    event.preventDefault();
    event.stopPropagation();
    if (busy) return;
    if (turn !== undefined) {
      const aim = (state.aim || 0) + turn * (event.shiftKey ? 5 : 1);
      state = { ...state, aim: Math.max(-90, Math.min(90, aim)) };
      paint();
    } else if (held === null && !event.repeat) {
      held = performance.now();
      state = { ...state, aim: state.aim || 0 };
      grow();
    }
  });
  canvas.addEventListener("keyup", (event) => {
    if (event.key !== " " || held === null) return;
    event.preventDefault();
    const time = charged();
    held = null;
    push({ direction: state.aim || 0, speed: KEY_START + KEY_GROWTH * time, time }, "keyboard");
  });
  canvas.addEventListener("blur", () => {
    if (held === null) return;
    held = null;
    state = fresh();
    paint();
  });

  agree.addEventListener("click", () => send({ event: "agree" }));
  decline.addEventListener("click", () => send({ event: "withdraw" }));
  withdraw.addEventListener("click", () => {
    if (window.confirm("Delete everything this seat has done?")) send({ event: "withdraw" });
  });

  const changed = () => { if (!busy) show(); };
  const heard = (message) => {
    said.textContent = message.words;
    if (message.kind === "outcome") finish(message.path, message.path.length > 1);
    else { busy = false; show(); }
  };
  model.on("change:screen", changed);
  model.on("msg:custom", heard);
  show();
  return () => {
    clearInterval(pause);
    cancelAnimationFrame(frame);
    model.off("change:screen", changed);
    model.off("msg:custom", heard);
  };
}

export default { render };
