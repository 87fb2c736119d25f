// The page: reads the fields, works out the outcome, writes it, and says it once after each change.

const given = JSON.parse(document.getElementById("given").textContent);
const SAY_AFTER_MS = 700;
const NO_BREAK = "\u00a0";
const MINUS = "\u2212";
const byId = (id) => document.getElementById(id);

// How numbers become words: the same forms as on the papers, and a test holds them together.
function digits(value, wanted) {
  if (!Number.isFinite(value)) return "no limit";
  let size = Math.abs(value);
  if (size < 0.5e-6) return "0";
  let places = wanted - 1 - Math.floor(Math.log10(size));
  size = places < 0 ? Math.round(size * 10 ** places) / 10 ** places : Number(size.toFixed(Math.min(places, 100)));
  places = Math.max(wanted - 1 - Math.floor(Math.log10(size)), 0);
  let [whole, part] = size.toFixed(places).split(".");
  whole = whole.replace(/\B(?=(\d{3})+$)/g, NO_BREAK);
  if (part && wanted > 2) part = part.replace(/0+$/, "");
  return `${value < 0 ? MINUS : ""}${whole}${part ? `.${part}` : ""}`;
}

function money(value) {
  for (const [step, name] of [[1e9, "billion"], [1e6, "million"]]) {
    if (Math.abs(value) >= 0.9995 * step) return `${digits(value / step, 3)}${NO_BREAK}${name}`;
  }
  return Math.abs(value) >= 1 ? digits(value, 3) : "0";
}

function percent(value) {
  const shown = value > 0 && value < 0.005 ? "<1" : value >= 0.995 && value < 1 ? ">99" : `${Math.floor(100 * value + 0.5)}`;
  return `${shown}${NO_BREAK}%`;
}

const FORMS = {
  text: (value) => value,
  figure: (value) => digits(value, 3),
  lives: (value) => digits(value, 2),
  money,
  percent,
  months: (value) => `${value}${NO_BREAK}${value === 1 ? "month" : "months"}`,
};

function fill(template, found) {
  return template.replace(/\{([^{}|]+)\|([a-z_]+)\}/g, (_, name, form) =>
    FORMS[form](name in given.texts ? given.texts[name] : found[name.replace("worksheet.", "")]));
}

const say = (key, found = {}) => fill(given.sentences[key], found);

// The worlds as columns of numbers, and the policies with their interval in years.
const unpack = (part) => Array.isArray(part) && part.length > 0 && typeof part[0] === "number" ? Float64Array.from(part)
  : Array.isArray(part) ? part.map(unpack)
    : part !== null && typeof part === "object" ? Object.fromEntries(Object.entries(part).map(([key, value]) => [key, unpack(value)]))
      : part;
const WORLDS = unpack(given.worlds);
const inYears = (months) => (months === null ? Infinity : months / MONTHS_IN_A_YEAR);
const POLICIES = given.policies.map((policy) => ({ ...policy, interval: inYears(policy.months) }));
const TODAY = POLICIES[given.today];
const PERCENT = 100;

const fields = Object.fromEntries(Object.entries(given.fields).map(([key, rules]) =>
  [key, { ...rules, key, input: byId(`field-${key}`), study: rules.start, last: rules.start }]));
const policyFields = Object.values(fields).filter(({ key }) => /^(months|no_refresher|covered\.|bought\.)/.test(key));

// What stands in a field: its value, or the sentence that says why it cannot be used.
function read(field) {
  const { input, start } = field;
  if (field.kind === "tick") return { value: input.checked ? 1 : 0 };
  if (field.kind === "share") {
    const slid = Number(input.value);
    return { value: Math.abs(slid - start) < 1e-9 ? start : Math.round(slid) };
  }
  if (input.disabled) return { value: null };
  if (input.validity.badInput) return { wrong: say("wrong.number") };
  if (input.value.trim() === "") return field.may_be_empty ? { value: null } : { wrong: say("wrong.empty") };
  const value = Number(input.value);
  if (!Number.isFinite(value)) return { wrong: say("wrong.number") };
  if (field.above && value <= field.least) return { wrong: say("wrong.above", { least: field.least }) };
  if (value < field.least) return { wrong: say("wrong.least", { least: field.least }) };
  if (value > field.most) return { wrong: say(`wrong.${field.bound}`, { most: field.most }) };
  return { value };
}

function write(field, value) {
  const { input } = field;
  field.last = value;
  if (field.kind === "tick") input.checked = value === 1;
  else input.value = value === null ? "" : String(value);
}

// Each field says whether it was changed, and what is wrong with it; true where every field can be used.
function mark(field, { value, wrong }) {
  const { key, input, start } = field;
  const changed = wrong !== undefined || (!input.disabled && value !== start);
  const told = byId(`changed-${key}`);
  told.hidden = !changed;
  told.textContent = !changed ? "" : start === null || field.kind === "tick" ? say("changed") : say("changed_from", { start });
  const fault = byId(`wrong-${key}`);
  if (fault) {
    fault.hidden = wrong === undefined;
    fault.textContent = wrong === undefined ? ""
      : field.last === null ? wrong : `${wrong} ${say("until_then", { last: field.last })}`;
    input.setAttribute("aria-invalid", String(wrong !== undefined));
  }
  if (field.kind === "share") {
    byId(`shown-${key}`).textContent = percent(value / PERCENT);
    input.setAttribute("aria-valuetext", percent(value / PERCENT));
  }
  return wrong === undefined;
}

// A column with its spread kept around the figure that was typed; where the study has none, the typed figure itself.
function moved(column, key, values) {
  const { study, scale } = fields[key];
  const value = values[key];
  if (value === study) return column;
  if (study === 0) return value / scale;
  const times = value / study;
  return typeof column === "number" ? column * times : column.map((one) => one * times);
}

function worldsOf(values) {
  const column = (name, key = name) => moved(WORLDS[name], key, values);
  const times = fields.half_life_months.study / values.half_life_months;
  return {
    ...WORLDS,
    mishaps_a_year: column("mishaps_a_year", "hours_a_year"),
    fading: typeof WORLDS.fading === "number" ? WORLDS.fading * times : WORLDS.fading.map((one) => one * times),
    first_cost: column("first_cost", "first_course_cost"),
    refresher_cost: column("refresher_cost"),
    fixed_cost: column("fixed_cost", "programme_cost_a_year"),
    deaths_per_course: column("deaths_per_course"),
    injuries_per_course: column("injuries_per_course"),
    injury_cost: column("injury_cost"),
    groups: WORLDS.groups.map((group, place) => ({
      ...group,
      people: values[`people.${place}`],
      leaving: moved(group.leaving, `leavers_a_year.${place}`, values),
      observed: given.assumed
        ? { never: values.points / PERCENT, trained: values.points / PERCENT } : group.observed,
    })),
  };
}

// The gain hangs on the half-life and the assumed points alone, and is kept as long as these stand.
const kept = { key: "", gain: null };
function gainOf(worlds, values) {
  const key = `${values.half_life_months} ${values.points}`;
  if (kept.key !== key) Object.assign(kept, { key, gain: gains(worlds) });
  return kept.gain;
}

function triedPolicy(values) {
  return {
    interval: inYears(values.no_refresher === 1 ? null : values.months),
    covered: WORLDS.groups.map((_, place) => values[`covered.${place}`] / PERCENT),
    bought: WORLDS.spends.map((_, place) => values[`bought.${place}`] === 1),
  };
}

// Each result as it is written: the figure, and in brackets what belongs to it.
const WRITTEN = {
  lives: (found) => [say("lives", found), say("lives_limits", found)],
  extra: (found) => [say("amount", found), say("amount_limits", found)],
  cost: (found) => [say("amount", found), `${say("amount_limits", found)}; ${say("cost_today", found)}`],
  courses: (found) => [say("courses", found), say("courses_today", found)],
  chance: (found) => [say("chance", found)],
  worth: (found) => (found === null ? [say("value_asked")] : [say("amount", found), say("amount_limits", found)]),
  cost_per_life: (found) => (found.value === null ? [say(found.form)] : [say(found.form, found), ratioTold(found)]),
};

function ratioTold(found) {
  if (found.low === null) return say(found.high === null ? "ratio_no_limits" : "no_lower", found);
  return say(found.high === null ? `no_upper_${found.form}` : "amount_limits", found);
}

function show(results) {
  for (const place of document.querySelectorAll("[data-result]")) {
    const found = results[place.dataset.result];
    const [figure, limits] = WRITTEN[place.dataset.result](found);
    place.querySelector(".figure-told").textContent = figure;
    place.querySelector(".limits").textContent = limits === undefined ? "" : `(${limits})`;
    for (const part of ["value", "low", "high", "today", "form"]) {
      const full = found === null ? undefined : found[part];
      if (full === undefined || full === null) delete place.dataset[part];
      else place.dataset[part] = String(full);
    }
  }
}

// One sentence for those who hear the page, once after each change: when nobody has written for a while.
let waiting = 0;
function speak(sentence) {
  clearTimeout(waiting);
  waiting = setTimeout(() => {
    byId("spoken").textContent = sentence;
    Object.values(fields).forEach(keep);
  }, SAY_AFTER_MS);
}

function spokenOf({ lives, extra }) {
  const limits = (name, { value, low, high }) => ({ [name]: value, [`${name}_low`]: low, [`${name}_high`]: high });
  const told = say("spoken", { ...limits("lives", lives), ...limits("extra", extra) });
  return given.assumed ? `${told} ${say("spoken_assumed")}` : told;
}

// Reads every field and works the outcome out. A figure that cannot be used is not: what stood in the field before somebody
// began to write in it is taken in its place, and the page says so.
function work() {
  const tick = fields.no_refresher;
  fields.months.input.disabled = tick !== undefined && tick.input.checked;
  const entries = Object.values(fields).map((field) => [field, read(field)]);
  const usable = entries.map(([field, entry]) => mark(field, entry)).every(Boolean);
  for (const note of document.querySelectorAll(".stale")) note.hidden = usable;
  const values = Object.fromEntries(entries.map(([{ key, last }, { value, wrong }]) =>
    [key, wrong === undefined ? value : last]));
  const worlds = worldsOf(values);
  const results = settle(worlds, triedPolicy(values), TODAY, gainOf(worlds, values), values.value_of_life);
  show(results);
  return usable ? spokenOf(results) : `${say("stale")} ${spokenOf(results)}`;
}

// A figure is written once its field is left or nobody writes any more; before, it may be half a figure.
function keep(field) {
  const { value, wrong } = read(field);
  if (wrong === undefined) field.last = value;
}

function startFrom(choice) {
  const policy = POLICIES[choice];
  for (const field of policyFields) {
    const [kind, place] = field.key.split(".");
    field.start = kind === "months" ? policy.months
      : kind === "no_refresher" ? Number(policy.months === null)
        : kind === "covered" ? PERCENT * policy.covered[place] : Number(policy.bought[place]);
    write(field, field.start);
  }
}

byId("sheet").addEventListener("submit", (event) => event.preventDefault());
byId("sheet").addEventListener("input", (event) => {
  if (event.target.id !== "start-from") speak(work());
});
byId("sheet").addEventListener("change", () => Object.values(fields).forEach(keep));
byId("start-from").addEventListener("change", (event) => {
  startFrom(Number(event.target.value));
  speak(work());
});
byId("back").addEventListener("click", () => {
  byId("start-from").value = String(given.chosen);
  startFrom(given.chosen);
  for (const field of Object.values(fields)) write(field, field.start);
  speak(`${say("spoken_back")} ${work()}`);
});
byId("start-from").value = String(given.chosen);
startFrom(given.chosen);
for (const field of Object.values(fields)) write(field, field.start);
work();
