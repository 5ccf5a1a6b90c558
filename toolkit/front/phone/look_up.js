// The look-up page: what is entered, the answer to it, and the sheet to print. It reckons by reckoning.js.

// An element with its properties; text only ever goes in as text.
function el(tag, properties = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(properties))
    if (name in made && name !== "list") made[name] = value; else made.setAttribute(name, value);
  made.append(...children.filter(one => one != null));
  return made;
}

const OFFERED_UNITS = ["in. w.c.", "psig", "mbar", "kPa", "bar", "oz/in2"];
const WHOLE = {...COURSE.record, ...COURSE.readings};
let state, shown;

function fresh() {
  const first = COURSE.stations[0];
  return {station: 0, layers: [...first.layers], network: first.network, signs: {}, texts: {...first.record}, stops: [], madeSafe: [], done: [],
    past: [], qualified: false, carried: false, chosen: null, practising: false};
}

const percent = share => share > 0 && share < 0.005 ? "under 1\u00a0%"
  : share >= 0.995 && share < 1 ? "over 99\u00a0%" : `${Math.round(100 * share)}\u00a0%`;
const upper = text => text[0].toUpperCase() + text.slice(1);
const without = (list, one) => list.includes(one) ? list.filter(other => other !== one) : [...list, one];

function toggle(words, isOn, press, more = {}) {
  const button = el("button", {type: "button", className: "toggle", onclick: () => { press(); update(); }, ...more}, words);
  updates.push(() => button.setAttribute("aria-pressed", isOn()));
  return button;
}

const plain = (words, press, more = {}) =>
  el("button", {type: "button", className: "plain", onclick: press, ...more}, words);

// What has to be brought up to date after each entry, in order.
let updates = [];

function card(number, title, className, ...children) {
  const heading = el("h2", {id: `step-${number}`, tabIndex: -1}, title);
  return el("section", {className: `step ${className}`, "data-number": number, "aria-labelledby": `step-${number}`},
    heading, ...children);
}

function stopCard() {
  return card(1, "Stop first. Does any of this hold?", "stop", el("div", {className: "toggles"},
    ...Object.entries(COURSE.stops).map(([key, words]) => toggle(
      // what to do then is said once it holds
      upper(words.split(":")[0]), () => state.stops.includes(key), () => { state.stops = without(state.stops, key); }))));
}

function stationCard() {
  const select = el("select", {id: "station", onchange: () => take(select.value)},
    // A closed menu does not break its line; the whole title stands beside the record.
    ...COURSE.stations.map((one, at) => el("option", {value: at}, one.title.split(",")[0])),
    el("option", {value: ""}, "my own station"));
  updates.push(() => { select.value = state.station; });
  return card(2, "Which layers are fitted?", "",
    el("div", {className: "toggles short"}, ...Object.entries(COURSE.layers).map(([key, words]) => toggle(
      upper(words), () => state.layers.includes(key), () => { state.layers = without(state.layers, key); own(); })),
      toggle("Feeds mains", () => state.network, () => { feeds(!state.network); own(); })),
    el("div", {className: "field"},
      el("label", {htmlFor: "station"}, "Or take layers and record from a station of the course"), select));
}

function own() { state.station = ""; }

// Whether it feeds mains; what carries their load was said of another station.
function feeds(network) { Object.assign(state, {network, carried: false}); }

function take(place) {
  state.station = place === "" ? "" : Number(place);
  const station = COURSE.stations[state.station], record = station?.record ?? {};
  if (station) state.layers = [...station.layers];
  // What a station of one's own feeds, and its record, are asked: those of another would mislead.
  feeds(Boolean(station?.network));
  for (const key of Object.keys(COURSE.record))
    document.getElementById(key).value = state.texts[key] = record[key] ?? "";
  update();
}

function symptomCard() {
  const groups = Object.entries(COURSE.questions).map(([name, questions], at) => {
    const asked = Object.entries(questions).map(([key, question]) => {
      const told = el("p", {className: "told"});
      const field = el("fieldset", {}, el("legend", {}, question), el("div", {className: "values"},
        ...COURSE.signs[key].values.map(value => toggle(upper(value), () => shown.signs[key] === value, () => {
          if (state.signs[key] === value) delete state.signs[key]; else state.signs[key] = value;
        }))), told);
      updates.push(() => {
        field.hidden = !shown.here.signs.includes(key);
        told.hidden = !(key in shown.read);
        told.textContent = shown.overruled.includes(key)
          ? `Your reading amounts to “${shown.read[key]}”, “${state.signs[key]}” was entered. The reading counts.`
          : "Told by your readings.";
      });
      return field;
    });
    const group = el("details", {open: at === 0}, el("summary", {}, name), ...asked);
    const qualified = Object.keys(questions).every(key => Object.values(COURSE.checks).every(
      check => check.qualified || !check.signs.includes(key)));
    updates.push(() => { group.hidden = (qualified && !state.qualified) || asked.every(one => one.hidden); });
    return group;
  });
  return card(3, "What was met? Leave out what nobody looked at.", "", ...groups);
}

function field(key, label) {
  const {usual} = WHOLE[key], wrong = el("p", {className: "wrong", id: `${key}-wrong`});
  const input = el("input", {id: key, type: "text", placeholder: `such as ${usual}`, autocomplete: "off",
    autocapitalize: "off", spellcheck: false, value: state.texts[key] || "",
    oninput: () => { state.texts[key] = input.value; if (key in COURSE.record) own(); update(); }});
  input.setAttribute("aria-describedby", wrong.id);
  const units = el("div", {className: "row"}, ...OFFERED_UNITS.map(unit => plain(unit, () => {
    input.value = state.texts[key] = `${input.value.trim()} ${unit}`;
    update();
    input.focus();
  }, {"aria-label": `${label}: ${unit}`})));
  updates.push(() => {
    const {error, bare} = shown.typed[key];
    wrong.hidden = !error;
    wrong.textContent = error || "";
    input.setAttribute("aria-invalid", Boolean(error));
    units.hidden = !bare;
  });
  return el("div", {className: "field"}, el("label", {htmlFor: key}, label), input, wrong, units);
}

const NEEDS = {between: "between", after_filter: "filter_drop"};

function readingCard() {
  const whose = el("p"), summary = el("summary", {});
  const fields = Object.keys(COURSE.readings).map(key => [key, field(key, upper(COURSE.readings[key].name))]);
  const kept = Object.entries(COURSE.record).map(([key, one]) => [one.layer, field(key, `On record: ${one.name}`)]);
  const record = el("details", {}, summary, el("div", {className: "fields"}, ...kept.map(([, one]) => one)));
  updates.push(() => {
    const station = COURSE.stations[state.station];
    summary.textContent = shown.record ? `The record: ${recordWords()}` : "The record: mend what is wrong in it";
    if (!shown.record) record.open = true;
    whose.className = station ? "wrong" : "quiet";
    whose.textContent = station
      ? `Readings are weighed beside the record of “${station.title}”, invented for this course. It is not yours: ` +
        "type your own station's record here first, or the readings mislead."
      : "Readings are weighed beside the record typed here: your own station's.";
    for (const [layer, one] of kept) one.hidden = Boolean(layer) && !state.layers.includes(layer);
    for (const [key, one] of fields) one.hidden = key in NEEDS && !shown.here.signs.includes(NEEDS[key]);
  });
  return card(4, "Two or three gauge readings, with their units", "",
    whose, record, el("div", {className: "fields"}, ...fields.map(([, one]) => one)));
}

function recordWords() {
  return Object.entries(COURSE.record).filter(([key]) => state.texts[key].trim())
    .map(([key, one]) => `${one.name} ${state.texts[key].trim()}`).join(", ");
}

const REFUSED = {
  empty: "Readings are weighed beside the record: give this one too.",
  above_zero: "This must be above zero, and no more than a gauge here can show: check the number and its unit.",
  range: "No gauge here shows this: check the number and its unit.",
  relief_start: "The relief starts below the set point: look the two up again.",
  lock_up: "Lock-up lies below the set point: look the two up again, they may be the wrong way round.",
};

// What each field holds: {value} in Pa, {error} in words, `bare` for a number without its unit; {} where it is empty.
function readField(key, text) {
  if (!text.trim()) return key in COURSE.record && !WHOLE[key].layer ? {error: REFUSED.empty} : {};
  const found = parsed(text, WHOLE[key].kind);
  if (found.error) return {...found, bare: found.error.endsWith(UNITS.refusals.unit)};
  const lowest = key in COURSE.record ? 0 : COURSE.range.lowest;
  if (found.value > COURSE.range.largest || found.value < lowest || (found.value === 0 && key in COURSE.record))
    return {error: key in COURSE.record ? REFUSED.above_zero : REFUSED.range};
  return found;
}

function look() {
  const typed = Object.fromEntries(Object.keys(WHOLE).map(key => [key, readField(key, state.texts[key] || "")]));
  for (const of of ["lock_up", "relief_start"])
    if (typed[`${of}_gauge_pressure`].value < typed.set_gauge_pressure.value)
      typed[`${of}_gauge_pressure`] = {error: REFUSED[of]};
  const values = of => Object.fromEntries(Object.keys(of).map(key => [key, typed[key].value ?? null]));
  const record = Object.keys(COURSE.record).some(key => typed[key].error) ? null : values(COURSE.record);
  const read = record ? values(COURSE.readings) : {};
  shown = {typed, record, ...answer({...state, read, record: record || {}})};
}

function suspectCard() {
  const list = el("ol", {className: "suspects"}), note = el("p", {className: "quiet"});
  updates.push(() => {
    list.replaceChildren(...listed().map(one => el("li", {},
      el("div", {className: "head"}, el("span", {}, upper(COURSE.suspects[one.key])), el("span", {}, percent(one.share))),
      barOf(one.share),
      ...reasonsFor(one).map(words => el("p", {className: "told"}, words)))));
    const rest = shown.suspects.slice(COURSE.most.suspects).reduce((sum, one) => sum + one.share, 0);
    const first = Object.keys(shown.signs).length ? "" : "Nothing was entered yet: so it stands before any look. ";
    note.textContent = `${first}All others together: ${percent(rest)}. The mark on a bar stands at ${
      percent(COURSE.sure)}: from there a suspect counts as likely, once its own check bears it out. ${source()}`;
  });
  return card(5, "What it may be", "", list, note);
}

function reasonsFor({key, speaks, against}) {
  if (COURSE.explained[key]) return [COURSE.explained[key]];
  return [["Speaks for it", speaks], ["Against it", against]].filter(([, told]) => told.length)
    .map(([head, told]) => `${head}: ${told.join("; ")}.`);
}

const listed = () => shown.suspects.slice(0, COURSE.most.suspects);

function barOf(share) {
  const filled = el("span"), sure = el("i");
  filled.style.width = `${100 * share}%`;
  sure.style.left = `${100 * COURSE.sure}%`;
  return el("div", {className: "bar", "aria-hidden": "true"}, filled, sure);
}

function checkCard() {
  const carried = toggle(COURSE.carried, () => state.carried, () => { state.carried = !state.carried; });
  updates.push(() => { carried.hidden = !state.network; });
  const inside = el("div"), made = el("div"), part = card(6, "What to do next", "", inside, made,
    el("div", {className: "row"},
      toggle("I am qualified for this work", () => state.qualified, () => { state.qualified = !state.qualified; }), carried,
      plain("Print one page", () => print()), plain("Start over", () => { build(); back(); })));
  updates.push(() => {
    const {advice} = shown;
    inside.replaceChildren(...meanwhile(shown.signs).map(words => el("p", {className: "wrong"}, words)),
      ...(advice.check ? checkParts(advice) : [endPart(advice)]));
    made.replaceChildren(...(state.past.length ? [
      el("h3", {}, "Made so far"),
      el("ul", {}, ...state.past.map(one => el("li", {}, `${upper(COURSE.checks[one.check].name)}: ${one.told}`))),
      plain("Take back the last", () => { Object.assign(state, state.past.at(-1).before); moveOn(); })] : []));
  });
  return part;
}

function checkParts(advice) {
  const ways = Object.fromEntries(advice.ways), mine = state.chosen in ways ? state.chosen : advice.check;
  const check = COURSE.checks[mine], found = outcomes(shown.now, check).slice(0, COURSE.most.outcomes);
  const why = mine === advice.check ? whyOf(advice, shown.signs) : "Your own choice among the checks worth making.";
  const others = advice.ways.filter(([key]) => key !== mine).slice(0, COURSE.most.others);
  return [
    el("div", {className: "card"}, el("h3", {}, upper(check.name)),
      el("dl", {className: "facts"}, ...Object.entries({...factsOf(check), Why: why}).map(([name, words]) =>
        el("div", {}, el("dt", {}, name), el("dd", {}, words)))),
      el("h3", {}, "What did it show? Tap it."),
      el("div", {className: "outcomes"}, ...found.map(one => outcomeButton(mine, one)),
        plain("Something else, or it could not be made", () => enter(mine, {}, "nothing new")))),
    others.length ? el("details", {}, el("summary", {}, "Other checks, the best first"),
      el("div", {className: "outcomes"}, ...others.map(([key]) => el("button", {type: "button", className: "outcome",
        onclick: () => { state.chosen = key; moveOn(); }}, el("b", {}, upper(COURSE.checks[key].name)),
      el("span", {}, `${COURSE.checks[key].minutes} min`)))))
      : null].filter(one => one);
}

function factsOf(check) {
  return {Takes: `about ${check.minutes} min`, Effort: check.effort, Risk: check.risk,
    "For whom": check.qualified || (state.network && check.isolates) ? "qualified persons only, by the written procedure" : "whoever may do this by the written procedure"};
}

function meaning(outcome) {
  return "would mean " + outcome.ranked.slice(0, COURSE.most.then).map(
    ([key, share]) => `${COURSE.suspects[key]} ${percent(share)}`).join(", ");
}

function outcomeButton(check, outcome) {
  const {values, chance} = outcome, keys = Object.keys(values);
  const words = keys.length === 1 ? upper(values[keys[0]]) : upper(keys.map(key => inWords(key, values[key])).join("; "));
  return el("button", {type: "button", className: "outcome", onclick: () => enter(check, values, words)},
    el("b", {}, words), el("span", {}, `${upper(meaning(outcome))}. Chance of this: ${percent(chance)}.`));
}

function enter(check, values, told) {
  const {signs, done, past} = state;
  state.past = [...past, {check, told, before: {signs, done, past, chosen: null}}];
  state.signs = {...signs, ...values};
  state.done = [...done, check];
  moveOn();
}

// After a tap that replaces what was tapped, the keyboard goes on at the head of the card.
function moveOn() {
  update();
  const to = document.getElementById(shown.stops.length ? "halt" : "step-6");
  to.focus();
  to.scrollIntoView();
}

const stateOf = ({state, best}) => COURSE.states[state === "found" && best === COURSE.nothing ? best : state];

function endPart(advice) {
  return el("div", {className: `end ${advice.state === "found" && advice.best === COURSE.nothing ? "" : "open"}`},
    el("h3", {}, stateOf(advice)), el("p", {}, upper(whyOf(advice, shown.signs))),
    el("p", {}, endOf(advice, percent)));
}

function cautionCard(practise) {
  return card(7, "Always", "last", el("p", {}, el("b", {}, COURSE.defers)),
    el("ul", {}, ...[...COURSE.cautions, ...COURSE.never].map(one => el("li", {}, one))),
    el("div", {className: "row"}, plain("Practise on simulated cases", practise)));
}

// While a stop condition holds this alone stands on the page.
function haltCard() {
  const words = el("div"), ways = el("div", {className: "row"});
  const halt = el("section", {className: "halt", id: "halt", tabIndex: -1, role: "alert", "aria-labelledby": "halt-head"},
    el("h2", {id: "halt-head"}, "STOP. CALL."), words, ways);
  updates.push(() => {
    halt.hidden = !shown.stops.length;
    if (halt.hidden) return;
    words.replaceChildren(...shown.stops.map(key => el("p", {}, `${upper(COURSE.stops[key])}.`)),
      el("p", {}, COURSE.ends["call for help"]));
    const entered = state.stops.length ? [] : Object.keys(shown.signs).filter(
      key => stopsOf({[key]: shown.signs[key]}).length);
    ways.replaceChildren(
      state.stops.length ? plain("It no longer holds", () => { state.stops = []; back(); }) : "",
      entered.length ? plain("I entered something wrong", () => { forget(entered); back(); }) : "",
      entered.length ? plain("A qualified person has made it safe by the written procedure",
        () => { state.madeSafe = [...shown.stops]; back(); }) : "");
  });
  return halt;
}

// Takes back signs, and the readings that told them.
function forget(keys) {
  for (const key of keys) {
    delete state.signs[key];
    for (const field of Object.keys(COURSE.readings).filter(one => one.startsWith(key))) {
      delete state.texts[field];
      document.getElementById(field).value = "";
    }
  }
}

function back() {
  update();
  document.getElementById(shown.stops.length ? "halt" : "step-1").focus();
}

function barLine() {
  const words = el("span"), link = el("a", {href: "#step-5"}, words, el("span", {}, "Answer ↓"));
  updates.push(() => {
    const [first] = shown.suspects;
    if (first) words.textContent = `${upper(COURSE.suspects[first.key])} ${percent(first.share)}`;
  });
  return link;
}

// What is printed: the answer, what was entered, and the cautions, on one page.
function sheet() {
  const list = (title, found, className = "columns") => found.length ? [el("h2", {}, title),
    el("ul", {className}, ...found.map(one => el("li", {}, one)))] : [];
  const texts = of => Object.entries(of).filter(([key]) => shown.typed[key].value != null)
    .map(([key, one]) => `${one.name}: ${state.texts[key].trim()}`);
  const told = shown.stops.length ? list("Stop. Call.", shown.stops.map(key => COURSE.stops[key])) : [
    el("h2", {}, "What it may be"), el("ol", {className: "columns"}, ...listed().map(one => el(
      "li", {}, `${COURSE.suspects[one.key]}: ${percent(one.share)}`, barOf(one.share)))),
    ...nextOnPaper(list)];
  document.getElementById("sheet").replaceChildren(
    el("h1", {}, document.querySelector("h1").textContent),
    el("p", {className: "blanks"}, ...["Station", "By", "Date and time"].map(one => el("span", {}, one))), ...told,
    ...list("Met", Object.entries(shown.signs).map(([key, value]) => inWords(key, value)), "columns narrow"),
    ...list("Read, and on record", [...texts(COURSE.readings), `record of: ${
      COURSE.stations[state.station]?.title ?? "the station above"}`, ...texts(COURSE.record).map(one => `record: ${one}`)],
      "columns narrow"),
    ...list("Layers fitted", state.layers.map(key => COURSE.layers[key]), "columns narrow"),
    ...list("Checks made", state.past.map(one => COURSE.checks[one.check].name), "columns narrow"),
    ...list("Always", [...COURSE.cautions, ...COURSE.never], "columns narrow"),
    el("p", {}, el("b", {}, COURSE.defers)), el("p", {}, source()));
}

function nextOnPaper(list) {
  const {advice} = shown, check = COURSE.checks[advice.check];
  const care = list("Meanwhile", meanwhile(shown.signs), "columns narrow");
  if (!check) return [...care, ...list(stateOf(advice), [upper(whyOf(advice, shown.signs)), endOf(advice, percent)], "")];
  const facts = Object.entries(factsOf(check)).map(([name, words]) => `${name}: ${words}`);
  return [...care, ...list(`Next check: ${check.name}`, [...facts,
    ...outcomes(shown.now, check).slice(0, COURSE.most.outcomes).map(one => `${Object.values(one.values).join(", ")}: ${
      meaning(one)}`)])];
}

function source() {
  return `Weights: ${COURSE.teaching}, dated ${COURSE.priors_dated}. The days behind the per cent are simulated: ${
    COURSE.kinds[shown.here.kind].name}. Guarded pressure, version ${COURSE.version}.`;
}

function update() {
  look();
  for (const one of updates) one();
  sheet();
  speak();
}

// Every text of the page as it is said of the station: the same as diagnosis/load_words.py. Practice is on stations
// with burners.
const PHRASE = new RegExp(COURSE.network.pattern, "g"), written = new WeakMap();
let spoken = false;

function ofNetwork(phrase) {
  const words = COURSE.network.words[phrase[0].toLowerCase() + phrase.slice(1)];
  return phrase[0] === phrase[0].toUpperCase() ? upper(words) : words;
}

function speak() {
  const network = state.network && !state.practising;
  // as written for burners, and nothing to take back
  if (!network && !spoken) return;
  spoken = network;
  const said = text => network ? text.replace(PHRASE, ofNetwork) : text;
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const node = texts.currentNode;
    if (node.parentNode.tagName === "SCRIPT") continue;
    if (!written.has(node)) written.set(node, node.data);
    const now = said(written.get(node));
    if (node.data !== now) node.data = now;
  }
  for (const one of document.querySelectorAll("[aria-label]")) {
    if (!written.has(one)) written.set(one, one.getAttribute("aria-label"));
    one.setAttribute("aria-label", said(written.get(one)));
  }
}

function build() {
  updates = [];
  state = fresh();
  const practice = practiceCard(() => { state.practising = false; update(); document.getElementById("step-7").focus(); });
  const work = el("div", {}, el("div", {className: "pair"}, el("div", {}, stationCard(), symptomCard(), readingCard()),
    el("div", {}, suspectCard(), checkCard())), cautionCard(() => {
    state.practising = true;
    update();
    practice.show(1 + Math.floor(Math.random() * CASES));
  }));
  const stop = stopCard();
  updates.push(() => {
    const {practising} = state, stopped = shown.stops.length > 0;
    work.hidden = stopped || practising;
    stop.hidden = stopped || practising;
    practice.part.hidden = !practising;
    document.getElementById("bar").hidden = stopped || practising;
  });
  document.getElementById("main").replaceChildren(haltCard(), stop, work, practice.part);
  document.getElementById("bar").replaceChildren(barLine());
  update();
}

build();
