// One seat's sitting without Python: the screens, pushes, rows and code that motorlearn's own Sitting gives.
// `hall` holds the class as Python wrote it into the page; lengths in cm, times in s.

// Round half to even on the exact value, as Python does.
function rounded(value, decimals) {
  const shifted = value * 2 ** (decimals + 1);
  const tie = Number.isInteger(shifted) && shifted % 2 !== 0;
  if (!tie) return Number(value.toFixed(decimals));
  const low = Math.floor(value * 10 ** decimals);
  return (low % 2 === 0 ? low : low + 1) / 10 ** decimals;
}

// Measured numbers are written with a decimal point always, whole ones too.
const measured = new Set(["x", "y", "radial_error", "time", "speed", "elapsed"]);
const decimal = (value) =>
  Object.is(value, -0) ? "-0.0" : Number.isInteger(value) ? `${value}.0` : String(value);

const whole = (value) => String(Math.abs(rounded(value, 0)));

// Where a ring comes to rest: corners of its way, and what stopped it.
function roll(hall, task, direction, speed, farther) {
  const { glide, hop } = hall.floor;
  const angle = (task === "lob" ? -direction : direction) * (Math.PI / 180);
  const length = task === "lob" ? hop * speed ** 2 : glide * speed;
  const end = [length * Math.sin(angle), length * Math.cos(angle)];
  const { path, stopped } = ways[task](hall.floor, end);
  const [x, y] = path[path.length - 1], [right, away] = hall.targets[task];
  return { x: x - right, y: y - (away + farther), path, stopped };
}

const ways = {
  straight: (_, end) => ({ path: [[0, 0], end], stopped: "" }),
  lob: (floor, end) => ({ path: [[0, 0], end], stopped: end[1] < floor.bar ? "bar" : "" }),
  bank: ({ board, wall }, [x, y]) => {
    const [left, right, high] = wall;
    const atWall = y > high ? x * high / y : Infinity;
    const folded = atWall > board ? 2 * board - atWall : atWall;
    const corner = [board, y * board / x];
    if (left <= folded && folded <= right) {
      const stop = [folded, high];
      return { path: atWall <= board ? [[0, 0], stop] : [[0, 0], corner, stop], stopped: "wall" };
    }
    if (x > board) return { path: [[0, 0], corner, [2 * board - x, y]], stopped: "" };
    return { path: [[0, 0], [x, y]], stopped: "" };
  },
};

function told(rest, error, radius) {
  if (error <= radius) return `Hit: ${whole(error)} cm from the centre.`;
  const far = Math.abs(rest.y) < 1 ? "" : rest.y > 0 ? " too far" : " too short";
  const side = Math.abs(rest.x) < 1 ? "" : rest.x > 0 ? " right" : " left";
  const parts = [[rest.y, far], [rest.x, side]].filter(([, words]) => words)
    .map(([value, words]) => `${whole(value)} cm${words}`);
  const stopped = rest.stopped ? ` The ${rest.stopped} stopped it.` : "";
  return `Missed by ${whole(error)} cm: ${parts.join(", ")}.${stopped}`;
}

class Sitting {
  constructor(hall, seat, kept = {}) {
    this.hall = hall;
    this.seat = seat;
    this.participant = `S${String(seat).padStart(3, "0")}`;
    const [group, order] = hall.programmes[seat - 1];
    this.group = hall.groups[group];
    this.pushes = hall.steps.map(([part, block, trial], index) => ({
      ...hall.parts[part], block, trial, task: hall.tasks[Number(order[index])],
    }));
    this.consent = kept.consent ?? null;
    this.started = kept.started ?? 0;
    this.landings = kept.landings ?? [];
    this.opened = kept.opened ?? false;      // the pause was ended by hand, or the file has no date
    this.path = null;
  }

  kept() {
    const { consent, started, landings, opened } = this;
    return { consent, started, landings, opened };
  }

  agree(now) { this.consent = true; this.started = now; }

  withdraw() { this.consent = false; this.landings = []; this.opened = false; }

  get ended() { return this.landings.length === this.pushes.length; }

  get due() { return this.pushes[this.landings.length]; }

  wait(now) {
    if (this.ended || !this.landings.length) return 0;
    if (this.due.phase !== "retention" || this.due.trial !== 1) return 0;
    const gap = 60 * (this.opened ? Math.min(this.hall.shortest, this.hall.gap) : this.hall.gap);
    const left = this.landings[this.landings.length - 1].elapsed + gap - (now - this.started);
    return Math.min(gap, Math.max(0, left));
  }

  page(now) {
    if (!this.consent) return this.consent === null ? "consent" : "left";
    if (this.ended) return "end";
    return this.wait(now) > 0 ? "pause" : "floor";
  }

  screen(now) {
    const page = this.page(now), { participant, hall } = this;
    const screen = { page, made: this.landings.length, participant };
    if (page !== "floor") {
      return { ...screen, words: hall.words[page], wait: Math.ceil(this.wait(now)) };
    }
    const push = this.due, [right, away] = hall.targets[push.task];
    const all = this.pushes.filter((other) => other.phase === push.phase).length;
    return {
      ...screen,
      words: `${hall.help[push.task]} ${hall.told[Number(push.feedback)]}`,
      heading: `${push.label}: push ${push.trial} of ${all}`,
      phase: push.phase,
      task: push.task,
      target: [right, away + push.farther],
      radius: hall.radius,
      board: push.task === "bank" ? hall.floor.board : null,
      wall: push.task === "bank" ? hall.floor.wall : null,
      bar: push.task === "lob" ? hall.floor.bar : null,
      feedback: push.feedback,
    };
  }

  // Make the push that is due; gives why not, or nothing.
  push({ direction, speed, time, device }, now) {
    const page = this.page(now), [slowest, fastest] = this.hall.floor.speeds;
    if (page !== "floor") return "no push is due now: follow the screen";
    if (!(direction >= -90 && direction <= 90)) return "a push must go forwards";
    if (!(speed >= slowest && speed <= fastest)) return "this is no push";
    const planned = this.due;
    const rest = roll(this.hall, planned.task, direction, speed, planned.farther);
    const error = Math.hypot(rest.x, rest.y);
    this.landings.push({
      x: rest.x, y: rest.y, error, hit: Number(error <= this.hall.radius),
      time, speed, device, elapsed: now - this.started,
    });
    this.last = { rest, error, planned };
    return "";
  }

  outcome() {
    const { rest, error, planned } = this.last;
    if (!planned.feedback) return { path: [rest.path[0]], words: this.hall.untold };
    return { path: rest.path, words: told(rest, error, this.hall.radius) };
  }

  // Every push so far in the standard columns, rounded.
  rows() {
    return this.landings.map((made, index) => {
      const push = this.pushes[index];
      return {
        participant: this.participant, group: this.group, phase: push.phase,
        session: push.session, block: push.block, trial: push.trial, task: push.task,
        hit: made.hit, x: rounded(made.x, 1), y: rounded(made.y, 1),
        radial_error: rounded(made.error, 1), time: rounded(made.time, 3),
        speed: rounded(made.speed, 1), feedback: Number(push.feedback), device: made.device,
        elapsed: rounded(made.elapsed, 1), class_seed: this.hall.class_seed,
      };
    });
  }

  csv() {
    const rows = this.rows();
    const columns = this.hall.columns.map((name) => {
      const written = measured.has(name) ? decimal : String;
      return [name, ...rows.map((row) => written(row[name]))];
    });
    const lines = columns[0].map((_, index) => columns.map((column) => column[index]).join(","));
    return lines.join("\r\n") + "\r\n";
  }

  // Take up what a file holds; gives what is wrong with it, or nothing.
  takeUp(text, saved) {
    const [head, ...lines] = text.replace(/^\uFEFF/, "").split(/\r?\n/).filter((line) => line);
    const { columns } = this.hall;
    if (head !== columns.join(",")) return "This is no file of the class experiment, or it was changed.";
    const cut = lines.length && lines[lines.length - 1].split(",").length < columns.length;
    const landings = [];
    for (const line of cut ? lines.slice(0, -1) : lines) {
      const row = Object.fromEntries(line.split(",").map((value, i) => [columns[i], value]));
      const push = this.pushes[landings.length];
      if (Number(row.class_seed) !== this.hall.class_seed) return "This file is of another class.";
      if (row.participant !== this.participant) return `This file is of seat ${Number(row.participant.slice(1))}.`;
      const planned = push && row.group === this.group && row.phase === push.phase
        && row.task === push.task && Number(row.trial) === push.trial;
      const numbers = ["x", "y", "radial_error", "hit", "time", "speed", "elapsed"].map((n) => Number(row[n]));
      if (!planned || !numbers.every(Number.isFinite)) return `Push ${landings.length + 1} of the file is not as planned.`;
      const [x, y, error, hit, time, speed, elapsed] = numbers;
      landings.push({ x, y, error, hit, time, speed, device: row.device, elapsed });
    }
    if (!landings.length) return "The file holds no whole push.";
    if (landings.length < this.landings.length) return "This device already holds more pushes of this seat than the file.";
    this.landings = landings;
    this.consent = true;
    this.started = saved - landings[landings.length - 1].elapsed;
    this.opened = true;
    return "";
  }

  // The sitting in 30 characters: content and three check characters of a Reed-Solomon code.
  code() {
    const rows = this.rows(), { hall, pushes } = this;
    const counts = hall.devices.map((name) => rows.filter((row) => row.device === name).length);
    const fields = [[hall.mark, 10], [this.seat, 8], [rows.length, 7],
      [counts.indexOf(Math.max(...counts)), 2], [gapStep(rows, pushes), 6]];
    for (let first = 0, end; first < pushes.length; first = end) {
      end = pushes.findIndex((push, i) => i > first
        && (push.phase !== pushes[first].phase || push.block !== pushes[first].block));
      if (end < 0) end = pushes.length;
      const cell = rows.slice(first, end);
      const sum = cell.reduce((total, row) => total + row.radial_error, 0);
      const step = cell.length ? Math.log1p(sum / cell.length) / Math.log1p(4100) : 0;
      fields.push([Math.min(1023, Math.floor(1023 * step + 0.5)), 10]);
      fields.push([cell.filter((row) => row.hit).length, (end - first).toString(2).length]);
    }
    fields.push([Number(rows.some((row, i) => i && row.elapsed < rows[i - 1].elapsed)), 1]);
    const bits = fields.map(([value, size]) => value.toString(2).padStart(size, "0")).join("");
    const content = bits.match(/.{5}/g).map((part) => parseInt(part, 2));
    const word = checked(content).map((symbol) => hall.alphabet[symbol]).join("");
    return word.match(/.{5}/g).join("-");
  }
}

function gapStep(rows, pushes) {
  const first = pushes.findIndex((push) => push.phase === "retention");
  if (rows.length <= first) return 0;
  const minutes = Math.max(0, rows[first].elapsed - rows[first - 1].elapsed) / 60;
  return Math.min(63, Math.floor(4 * Math.log2(1 + minutes) + 0.5));
}

function checked(content) {
  const powers = [1], logs = [];
  for (let i = 0; i < 30; i++) powers.push(powers[i] & 16 ? (powers[i] << 1) ^ 0x25 : powers[i] << 1);
  powers.slice(0, 31).forEach((value, power) => { logs[value] = power; });
  const times = (a, b) => (a && b ? powers[(logs[a] + logs[b]) % 31] : 0);
  let generator = [1];
  for (const power of [1, 2, 3]) {
    const scaled = [0, ...generator.map((c) => times(c, powers[power]))];
    generator = [...generator, 0].map((c, i) => c ^ scaled[i]);
  }
  const rest = [...content, 0, 0, 0];
  content.forEach((_, i) => {
    const factor = rest[i];
    generator.forEach((c, offset) => { rest[i + offset] ^= times(c, factor); });
  });
  return [...content, ...rest.slice(-3)];
}
