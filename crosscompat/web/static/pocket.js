"use strict";
// Names from the book and what is typed go into the page as text only: `element` never reads them as HTML.
const data = JSON.parse(document.getElementById("data").textContent);
const at = (id) => document.getElementById(id);
const STORE = `${"crosscompat.pocket/1"} ${data.book}`;
const OLD = 14;

const grouped = (nouns) => nouns.replace(/\b(pods?|flowers?)\b/g, (word) => data.group[word]);
const say = (key, values = {}) => data.say[key].replace(/\{(\w+)(?::([^|}]*)\|([^}]*))?\}/g, (_, name, singular, plural) => {
  const value = values[name] ?? data.group[name] ?? "";
  return singular === undefined ? String(value) : `${value} ${grouped(value === 1 ? singular : plural)}`;
});
const element = (tag, attributes = {}, ...inside) => {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") made.addEventListener(name, value);
    else if (value !== false) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...inside.filter((part) => part !== "" && part !== null));
  return made;
};
const link = (where, ...inside) => element("a", { href: where }, ...inside);
const button = (where, text) => element("a", { href: where, class: "button" }, text);

// Days are those of the phone, as text: 2026-05-01.
const two = (number) => String(number).padStart(2, "0");
const dayOf = (when) => `${when.getFullYear()}-${two(when.getMonth() + 1)}-${two(when.getDate())}`;
const today = () => dayOf(new Date());
const moved = (day, by) => {
  const [year, month, date] = day.split("-").map(Number);
  return dayOf(new Date(year, month - 1, date + by, 12));
};
const between = (first, last) => Math.round((Date.parse(last) - Date.parse(first)) / 86400000);
const spoken = (day) => say("day", { day: Number(day.slice(8)), month: say("months").split(",")[Number(day.slice(5, 7)) - 1] });
const spokenSpan = (first, last) => (first === last ? spoken(first) : say("from_to", { first: spoken(first), last: spoken(last) }));

// Chances: a byte each, in whole percent, and which words they are called by.
const bytes = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
const chances = { mean: bytes(data.mean), low: bytes(data.low), high: bytes(data.high), called: bytes(data.called) };
const percent = (whole) => say(whole === 0 ? "percent_less" : whole === 100 ? "percent_more" : "percent", { whole });
const chanceOf = (seed, pollen) => {
  const place = seed * data.plants.length + pollen;
  const mean = chances.mean[place];
  return mean === data.no_chance ? null : { mean, low: chances.low[place], high: chances.high[place], words: data.words[chances.called[place]] };
};

// What waits is kept in the phone, or where a browser keeps nothing, on the page.
let held = [], holds = false, removed = null;
const stored = () => {
  if (holds) return held;
  try {
    const entries = JSON.parse(localStorage.getItem(STORE) ?? "[]");
    if (Array.isArray(entries)) return entries;
    throw new TypeError(STORE);
  } catch {
    holds = true;
    return held;
  }
};
const keep = (entries) => {
  try {
    if (!holds) localStorage.setItem(STORE, JSON.stringify(entries));
  } catch {
    holds = true;
  }
  if (holds) held = entries;
};
const newId = () => {
  const made = crypto.getRandomValues(new Uint8Array(16));
  made[6] = (made[6] & 15) | 64;
  made[8] = (made[8] & 63) | 128;
  const text = Array.from(made, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [text.slice(0, 8), text.slice(8, 12), text.slice(12, 16), text.slice(16, 20), text.slice(20)].join("-");
};
const log = (entry, what) => {
  const now = new Date();
  const time = `${two(now.getHours())}:${two(now.getMinutes())}`;
  keep([...stored(), { id: newId(), date: dayOf(now), time, ...entry, what }]);
  tell(say(holds ? "held" : "kept", { what }));
  fresh = true; // it is read on the screen that comes next
};
let fresh = false;
const tell = (text, ...more) => {
  at("said").replaceChildren(text, ...more);
  at("said").hidden = !text;
};

// Lists.
const like = (text, ...names) => names.some((name) => name.toLowerCase().includes(text.trim().toLowerCase()));
const listOf = (items) => element("ul", { class: "list" }, ...items.map((item) => element("li", {}, item)));
const speciesOf = (plant) => data.species[plant.species];
const isOpen = (plant) => {
  const seen = stored().filter((entry) => entry.kind === "flowers" && entry.plant === plant.name && between(entry.date, today()) < 7);
  if (seen.length) return seen[seen.length - 1].count > 0;
  return plant.open.some(([first, last]) => first <= today() && today() <= last);
};
const plantAt = (name) => data.plants.findIndex((plant) => plant.name === name);
const path = (screen, ...names) => `#${[screen, ...names.map(encodeURIComponent)].join("/")}`;
const plantLink = (where, plant, says) => link(where, element("b", {}, plant.name), " ", element("i", {}, speciesOf(plant)), element("span", {}, says));
const asTyped = (text, where) => (text.trim() ? [element("p", {}, link(where(text.trim()), say("as_typed", { text: text.trim() })))] : []);

// Screens.
const draw = {
  due() {
    const day = today() > data.until ? data.until : today();
    const shown = data.due.filter((entry) => entry.shown_from <= day && day <= entry.shown_until);
    const places = new Map();
    for (const entry of shown) places.set(entry.where, [...(places.get(entry.where) ?? []), entry]);
    const order = (entry) => `${entry.last < today() ? 0 : 1}${entry.first}`;
    const parts = [...places.keys()].sort().flatMap((place) => [
      element("h2", {}, place || say("no_place")),
      listOf(places.get(place).sort((a, b) => (order(a) < order(b) ? -1 : 1)).map(dueLink)),
    ]);
    at("due-list").replaceChildren(...(parts.length ? parts : [element("p", {}, say("nothing_due"))]));
  },

  pollinate(seed, pollen) {
    at("pollinate-choose").hidden = Boolean(pollen);
    at("pollinate-form").hidden = !pollen;
    at("pollinate-title").textContent = pollen ? `${seed} × ${pollen}` : say(seed ? "which_pollen" : "which_seed", { seed });
    const back = !seed ? "" : button(pollen ? path("pollinate", seed) : "#pollinate", say(pollen ? "other_pollen" : "other_seed"));
    at("pollinate-back").replaceChildren(back);
    if (pollen) {
      const lot = data.lots.find(([name]) => name === pollen);
      const chance = chanceBetween(seed, lot ? lot[1] : pollen);
      at("pollinate-chance").textContent = chance ? chanceInWords(chance) : say("no_chance");
      at("flowers").value = data.flowers;
      return;
    }
    const text = at("pollinate-filter").value;
    at("pollinate-list").replaceChildren(...(seed ? pollenFor(seed, text) : seedPlants(text)));
  },

  look(id) {
    const cross = crossesNow().find((one) => one.id === id);
    at("look-choose").hidden = Boolean(id);
    at("look-form").hidden = !id;
    at("look-title").textContent = id ? (cross ? cross.number : id) : say("which_cross");
    at("look-back").replaceChildren(id ? button("#look", say("another_cross")) : "");
    if (!id) {
      const text = at("look-filter").value;
      const found = crossesNow().filter((one) => like(text, one.number, one.pairing, one.where));
      const none = found.length ? [listOf(found.map(crossLink))] : [element("p", {}, say("none_like"))];
      at("look-list").replaceChildren(...none, ...(found.length ? [] : asTyped(text, (typed) => path("look", typed))));
      return;
    }
    at("look-about").textContent = cross ? [cross.pairing, cross.where, ...countsOf(cross)].filter(Boolean).join("; ") : "";
    for (const [name, known] of [["tray", cross?.trays ?? []], ["lot", cross?.lots ?? []]]) {
      at(name).replaceChildren(...known.map(([value, called]) => element("option", { value }, called)));
      at(`${name}-row`).hidden = known.length < 2;
    }
  },

  plants(name) {
    const plant = data.plants[plantAt(name)];
    at("plants-choose").hidden = Boolean(plant);
    at("plants-form").hidden = !plant;
    at("plants-title").textContent = plant ? plant.name : say("all_plants");
    at("plants-back").replaceChildren(...(plant ? [button(path("pollinate", name), say("pollinate_it")), " ", button("#plants", say("all_plants"))] : []));
    if (plant) {
      const expected = plant.open.filter((part) => part[1] >= today()).map((part) => say("expected", { when: spokenSpan(...part) }));
      at("plants-about").replaceChildren(element("i", {}, speciesOf(plant)), ["", plant.sex, plant.place, ...expected].filter((part, place) => part || !place).join("; "));
      return;
    }
    const text = at("plants-filter").value;
    const found = data.plants.filter((one) => like(text, one.name, speciesOf(one)));
    const says = (one) => [one.place, isOpen(one) ? say("in_flower") : ""].filter(Boolean).join("; ");
    at("plants-list").replaceChildren(found.length ? listOf(found.map((one) => plantLink(path("plants", one.name), one, says(one)))) : element("p", {}, say("none_like")));
  },

  ask() {
    const [seed, pollen] = [at("ask-seed").value, at("ask-pollen").value];
    if (!seed || !pollen) return at("ask-answer").replaceChildren();
    if (seed === pollen) return at("ask-answer").replaceChildren(element("p", {}, say("same_plant")));
    at("ask-answer").replaceChildren(...[[seed, pollen], [pollen, seed]].flatMap(([one, other]) => odds(one, other)));
  },

  waiting() {
    const entries = stored();
    at("hand-over").hidden = !entries.length;
    const lines = entries.map((entry) => element("div", { class: "entry" },
      element("span", {}, `${spoken(entry.date)}: ${entry.what}${entry.handed ? ` (${say("handed", { day: spoken(entry.handed) })})` : ""}`),
      element("button", { type: "button", "aria-label": say("take_out_of", { what: entry.what }), click: () => takeOut(entry) }, say("take_out"))));
    at("waiting-list").replaceChildren(...(lines.length ? lines : [element("p", {}, say("nothing_waits"))]));
  },
};

const dueLink = (entry) => {
  const late = entry.last < today();
  const after = spoken(moved(entry.last, 1));
  const when = !late ? spokenSpan(entry.first, entry.last) : say(entry.task === "give_up" ? "no_more" : "passed", { day: after });
  const cross = data.crosses.find((one) => entry.id.startsWith(one.id));
  return link(path("look", cross ? cross.id : entry.cross), element("b", {}, entry.cross), ` ${entry.pairing}`,
    element("span", {}, `${data.tasks[entry.task]}: ${when} (${say("day_n", { n: between(entry.since, today()) })})`, late ? element("strong", {}, ` ${say("late")}`) : ""));
};
// A cross begun on this phone has no number yet; its visit names it until the book has given one.
const crossesNow = () => [
  ...stored().filter((entry) => entry.kind === "pollination").map((entry) => ({
    id: entry.id, number: `${entry.seed} × ${entry.lot ?? entry.pollen}`, pairing: "", where: say("on_phone"),
    brushed: entry.date, units: entry.flowers, pods: null, trays: [], lots: [],
  })),
  ...data.crosses,
];
const countsOf = (cross) => [
  say("brushed", { day: spoken(cross.brushed) }),
  cross.units === null ? "" : say("units", { n: cross.units }),
  cross.pods === null ? "" : say("pods", { n: cross.pods }),
].filter(Boolean);
const crossLink = (cross) => link(path("look", cross.id), element("b", {}, cross.number), ` ${cross.pairing}`, element("span", {}, [cross.where, ...countsOf(cross)].filter(Boolean).join("; ")));

const seedPlants = (text) => {
  const fit = data.plants.filter((plant) => plant.sex !== "male" && like(text, plant.name, speciesOf(plant)));
  const parts = [[true, "in_flower"], [false, "other_plants"]].flatMap(([open, heading]) => {
    const these = fit.filter((plant) => isOpen(plant) === open);
    return these.length ? [element("h2", {}, say(heading)), listOf(these.map((plant) => plantLink(path("pollinate", plant.name), plant, plant.place)))] : [];
  });
  return [...(fit.length ? parts : [element("p", {}, say("none_like"))]), ...asTyped(text, (typed) => path("pollinate", typed))];
};
const pollenFor = (seed, text) => {
  const mother = plantAt(seed);
  const fresh = data.plants.filter((plant, place) => place !== mother && plant.sex !== "female" && plant.clone !== data.plants[mother]?.clone)
    .map((plant) => ({ name: plant.name, plant, says: isOpen(plant) ? say("in_flower") : "" }));
  const lots = data.lots.map(([name, of]) => ({ name, plant: data.plants[plantAt(of)], says: say("stored", { plant: of }) }));
  const found = [...fresh, ...lots].filter((one) => like(text, one.name, one.plant ? speciesOf(one.plant) : ""));
  for (const one of found) one.chance = one.plant ? chanceBetween(seed, one.plant.name) : null;
  found.sort((a, b) => (b.chance?.mean ?? -1) - (a.chance?.mean ?? -1));
  const items = found.map((one) => link(path("pollinate", seed, one.name), element("b", {}, `× ${one.name}`), " ", element("i", {}, one.plant ? speciesOf(one.plant) : ""),
    element("span", {}, [one.chance ? say("chance", { words: one.chance.words, percent: percent(one.chance.mean) }) : say("no_chance"), one.says].filter(Boolean).join("; "))));
  return [items.length ? listOf(items) : element("p", {}, say("none_like")), ...asTyped(text, (typed) => path("pollinate", seed, typed))];
};
const chanceBetween = (seed, pollen) => {
  const places = [plantAt(seed), plantAt(pollen)];
  return places.includes(-1) ? null : chanceOf(...places);
};
const chanceInWords = ({ mean, low, high, words }) => {
  const same = percent(low) === percent(mean) && percent(mean) === percent(high);
  const range = same ? percent(mean) : say("range", { mean: percent(mean), low: percent(low), high: percent(high) });
  return say("from_flowers", { n: data.flowers, words, percent: range });
};
const odds = (seed, pollen) => {
  const chance = chanceBetween(seed, pollen);
  const [mother, father] = [data.plants[plantAt(seed)], data.plants[plantAt(pollen)]];
  const heading = element("h2", {}, `${seed} × ${pollen}`);
  if (!chance) return [heading, element("p", {}, say("no_chance"))];
  return [heading, element("p", { class: "big" }, chanceInWords(chance)), element("p", { class: "why" }, data.whys[data.why[mother.species][father.species]])];
};

const takeOut = (entry) => {
  removed = entry;
  keep(stored().filter((one) => one.id !== entry.id));
  tell(say("taken_out", { what: entry.what }), " ", element("button", { type: "button", click: putBack }, say("put_back")));
  show({ stays: true });
  at("said").querySelector("button").focus();
};
const putBack = () => {
  if (!stored().some((one) => one.id === removed.id)) keep([...stored(), removed]);
  tell("");
  show();
};

// Handing over: all that waits, in one file.
const fileName = (ending) => `greenhouse-${today()}.${ending}`;
const handOver = () => JSON.stringify({ schema: "crosscompat.pocket/1", book: data.book, collection: data.name, page: data.day, entries: stored() }, null, 1);
const handed = () => {
  const entries = stored();
  keep(entries.map((entry) => ({ ...entry, handed: entry.handed ?? today() })));
  tell(say("saved", { file: fileName("json"), n: entries.length }));
  show({ stays: true });
};
at("download").addEventListener("click", () => {
  const address = URL.createObjectURL(new Blob([handOver()], { type: "application/json" }));
  at("download").href = address;
  at("download").download = fileName("json");
  setTimeout(() => {
    at("download").href = "#waiting";
    at("download").removeAttribute("download");
    URL.revokeObjectURL(address);
    handed();
  }, 1000);
});
const shared = () => [["json", "application/json"], ["txt", "text/plain"]]
  .map(([ending, type]) => new File([handOver()], fileName(ending), { type }))
  .find((file) => navigator.canShare?.({ files: [file] }));
at("share").hidden = !(navigator.share && shared());
at("share").addEventListener("click", async () => {
  try {
    await navigator.share({ files: [shared()] });
    handed();
  } catch { /* whoever changes their mind has shared nothing, and everything still waits */ }
});

// Forms.
const text = (id) => at(id).value.trim() || undefined;
const whole = (id) => (/^\d{1,6}$/.test(at(id).value) ? Number(at(id).value) : null);
const unsaid = (form) => {
  form.querySelector(".fault")?.remove();
  return form;
};
const wrong = (id, key) => {
  const says = say(key, { label: document.querySelector(`label[for="${id}"]`).textContent });
  unsaid(at(id).form).querySelector("button.main").before(element("p", { class: "fault", role: "alert" }, says));
  at(id).focus();
};
const cleared = (form) => {
  const who = at("pollinate-who").value;
  unsaid(form).reset();
  at("pollinate-who").value = who;
  form.querySelectorAll(".opened").forEach((part) => { part.hidden = true; });
  form.querySelectorAll("details").forEach((part) => { part.open = false; });
};
const names = () => location.hash.slice(1).split("/").slice(1).map((part) => { try { return decodeURIComponent(part); } catch { return part; } });
at("pollinate-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const [seed, pollen] = names(), flowers = whole("flowers");
  if (!flowers) return wrong("flowers", "no_count");
  const by = data.lots.some(([name]) => name === pollen) ? { lot: pollen } : { pollen };
  log({ kind: "pollination", seed, ...by, flowers, bag: at("bag").checked, marker: text("marker"), who: text("pollinate-who"), note: text("pollinate-note") },
    say("pollination", { seed, pollen, n: flowers }));
  at("pollinate-filter").value = "";
  go("#pollinate");
});
at("look-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const [id] = names(), cross = crossesNow().find((one) => one.id === id), seen = {}, words = [];
  for (const box of document.querySelectorAll("[data-opens]")) {
    const what = box.dataset.opens.slice(3);
    if (!box.checked) continue;
    seen[what] = what === "lost" ? text("lost") : whole(what);
    if (seen[what] === null) return wrong(what, "no_count");
    if (seen[what] === undefined) return wrong(what, "no_cause");
    words.push(`${box.parentElement.textContent.trim()}: ${seen[what]}`);
  }
  if ("harvest" in seen && at("seeds").value) {
    seen.seeds = whole("seeds");
    if (seen.seeds === null) return wrong("seeds", "no_count");
  }
  if ("up" in seen && cross?.trays.length) seen.tray = at("tray").value;
  if ("sown" in seen && cross?.lots.length) seen.lot = at("lot").value;
  const note = text("look-note");
  if (!words.length && !note) return wrong("look-note", "nothing_seen");
  const number = cross ? cross.number : id;
  log({ kind: "look", cross: id, number, ...seen, note }, say("looked", { cross: number, what: words.join(", ") || note }));
  at("look-filter").value = "";
  go("#look");
});
at("plants-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const [plant] = names(), count = whole("open");
  if (count === null) return wrong("open", "no_count");
  log({ kind: "flowers", plant, count }, say("flowering", { plant, n: count }));
  go("#plants");
});
for (const box of document.querySelectorAll("[data-opens]")) {
  box.addEventListener("change", () => { at(box.dataset.opens).hidden = !box.checked; });
}
for (const counter of document.querySelectorAll(".counter")) {
  const input = counter.querySelector("input"), label = document.querySelector(`label[for="${input.id}"]`).textContent;
  const least = Number(counter.dataset.least);
  const step = (sign, key, by) => element("button", { type: "button", "aria-label": say(key, { label }), click: () => { input.value = Math.max(least, Number(input.value || 0) + by); } }, sign);
  counter.prepend(step("−", "one_less", -1));
  counter.append(step("+", "one_more", 1));
}
for (const side of ["ask-seed", "ask-pollen"]) {
  const barred = side === "ask-seed" ? "male" : "female";
  at(side).append(...data.plants.filter((plant) => plant.sex !== barred).map((plant) => element("option", { value: plant.name }, `${plant.name}, ${speciesOf(plant)}`)));
  at(side).addEventListener("change", () => draw.ask());
}
for (const screen of ["pollinate", "look", "plants"]) {
  at(`${screen}-filter`).addEventListener("input", () => draw[screen](...names()));
}

// Going from screen to screen; the phone's own way back works.
const go = (where) => {
  if (location.hash === where) show();
  else location.hash = where;
};
const warn = () => {
  const age = between(data.day, today());
  const words = [age > OLD ? say("old", { day: spoken(data.day), n: age }) : age < 0 ? say("ahead", { day: spoken(data.day) }) : "",
    today() > data.until ? say("beyond", { day: spoken(data.until) }) : ""].filter(Boolean).join(" ");
  at("age").textContent = words;
  at("age").hidden = !words;
  const entries = stored();
  at("store").textContent = say("no_store");
  at("store").hidden = !holds;
  at("waits").textContent = say("waits", { n: entries.length });
};
let last = null;
const show = ({ stays = false } = {}) => {
  const screen = location.hash.slice(1).split("/")[0];
  const now = screen in draw ? screen : "due";
  document.querySelectorAll("section").forEach((part) => { part.hidden = part.id !== `screen-${now}`; });
  document.querySelectorAll("nav a").forEach((one) => {
    if (one.hash === `#${now}`) one.setAttribute("aria-current", "page");
    else one.removeAttribute("aria-current");
  });
  if (screen !== last && (screen === "pollinate" || screen === "look" || screen === "plants")) at(`${screen}-filter`).value = "";
  last = screen;
  draw[now](...(now === screen ? names() : []));
  document.title = `${at(`${now}-title`).textContent} – ${data.name}`;
  warn();
  if (!stays) at(`${now}-title`).focus();
};
window.addEventListener("hashchange", () => {
  if (!fresh) tell("");
  fresh = false;
  document.querySelectorAll("form").forEach(cleared);
  show();
  scrollTo(0, 0);
});
// What is half typed stays as it is when the phone wakes up.
const refresh = () => {
  if ([...document.forms].some((form) => form.offsetParent !== null)) warn();
  else show({ stays: true });
};
window.addEventListener("storage", refresh);
document.addEventListener("visibilitychange", () => { if (!document.hidden) refresh(); });
document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  at("main").focus();
});
window.addEventListener("beforeunload", (event) => { if (holds && held.length) event.preventDefault(); });

// A newer page knows what has come into the book meanwhile.
const settled = () => {
  const inBook = new Set(data.entered), entries = stored(), left = entries.filter((entry) => !inBook.has(entry.id));
  if (left.length === entries.length) return;
  keep(left);
  tell(say("in_book", { n: entries.length - left.length }));
};
document.querySelector("nav").hidden = false;
keep(stored());
settled();
show({ stays: true });
