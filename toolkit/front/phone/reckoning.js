"use strict";
// What the page goes by: words, thresholds, weights and tables, all written into it by `course phone`.
const COURSE = JSON.parse(document.getElementById("course").textContent);

// --- Bayes' rule over the simulated days: the same as diagnosis/posterior.py

const SIGN_KEYS = Object.keys(COURSE.signs), SUSPECT_KEYS = Object.keys(COURSE.suspects);
const unpacked = new Map();

// A kind's rows: a suspect's place, how many of its days look alike, and a place of a value for each sign.
function tableOf(kind, fitted) {
  const name = `${kind} ${fitted}`;
  if (!unpacked.has(name)) {
    const {base, per_byte: perByte, unseen} = COURSE.packing;
    const bytes = Uint8Array.from(atob(COURSE.kinds[kind].rows), one => one.charCodeAt(0));
    const long = 2 + Math.ceil(SIGN_KEYS.length / perByte), rows = [];
    for (let at = 0; at < bytes.length; at += long) {
      const values = SIGN_KEYS.map((key, sign) => fitted.includes(key)
        ? Math.floor(bytes[at + 2 + Math.floor(sign / perByte)] / base ** (sign % perByte)) % base : unseen);
      rows.push({suspect: bytes[at], days: bytes[at + 1], values});
    }
    const days = new Array(SUSPECT_KEYS.length).fill(0);
    for (const row of rows) days[row.suspect] += row.days;
    unpacked.set(name, {rows, days});
  }
  return unpacked.get(name);
}

// Probabilities of each value of a sign for a row of a table; the kernel's last line is for what was not to be had.
function chances(row, key) {
  const place = row.values[SIGN_KEYS.indexOf(key)], kernel = COURSE.kernels[key];
  return kernel[Math.min(place, kernel.length - 1)];
}

// `signs` is {key: value}; `fitted`, the signs to be had where not all are. A belief has a weight for each row; they
// sum to 1.
function belief(kind, signs, priors, fitted = SIGN_KEYS) {
  const table = tableOf(kind, fitted);
  const logs = table.rows.map(row => {
    const suspect = SUSPECT_KEYS[row.suspect];
    let sum = Math.log((priors[suspect] || 0) * row.days / table.days[row.suspect]);
    for (const [key, value] of Object.entries(signs))
      sum += Math.log(chances(row, key)[COURSE.signs[key].values.indexOf(value)]);
    return sum;
  });
  const top = Math.max(...logs), raw = logs.map(one => Math.exp(one - top));
  const total = raw.reduce((sum, one) => sum + one, 0);
  return {table, signs, weights: raw.map(one => one / total)};
}

// [[suspect, probability]], the likeliest first.
function ranked(thought) {
  const sums = new Array(SUSPECT_KEYS.length).fill(0);
  thought.table.rows.forEach((row, at) => { sums[row.suspect] += thought.weights[at]; });
  return rankedSums(thought, sums);
}

function rankedSums(thought, sums) {
  return SUSPECT_KEYS.map((key, at) => [key, sums[at]]).filter((_, at) => thought.table.days[at])
    .sort((one, other) => other[1] - one[1]);
}

// --- The next check: the same as diagnosis/next_check.py

// Signs of a check that are new and to be had on this kind, and the probability of each suspect and outcome together.
function joint(thought, check) {
  const keys = check.signs.filter(key => !(key in thought.signs) && thought.table.rows.some(
    row => row.values[SIGN_KEYS.indexOf(key)] < COURSE.packing.unseen));
  const many = keys.reduce((product, key) => product * COURSE.signs[key].values.length, 1);
  const both = SUSPECT_KEYS.map(() => new Array(many).fill(0));
  thought.table.rows.forEach((row, at) => {
    let line = [thought.weights[at]];
    for (const key of keys) line = line.flatMap(one => chances(row, key).map(chance => one * chance));
    line.forEach((one, place) => { both[row.suspect][place] += one; });
  });
  return {keys, both, many};
}

// What a check is expected to tell about the suspect [bit].
function information(thought, check) {
  const {both, many} = joint(thought, check);
  const of = both.map(line => line.reduce((sum, one) => sum + one, 0));
  let bits = 0;
  for (let place = 0; place < many; place++) {
    const all = both.reduce((sum, line) => sum + line[place], 0);
    both.forEach((line, suspect) => {
      if (line[place] > 0) bits += line[place] * Math.log2(line[place] / (of[suspect] * all));
    });
  }
  return Math.max(0, bits);
}

// All that a check may show: {values: {sign: value}, chance, ranked}, the likeliest first.
function outcomes(thought, check) {
  const {keys, both, many} = joint(thought, check), found = [];
  for (let place = 0; place < many; place++) {
    const chance = both.reduce((sum, line) => sum + line[place], 0), values = {};
    if (chance < COURSE.least_chance) continue;
    let left = place;
    for (const key of [...keys].reverse()) {
      const of = COURSE.signs[key].values;
      values[key] = of[left % of.length];
      left = Math.floor(left / of.length);
    }
    const ordered = Object.fromEntries(keys.map(key => [key, values[key]]));
    found.push({values: ordered, chance, ranked: rankedSums(thought, both.map(line => line[place] / chance))});
  }
  return found.sort((one, other) => other.chance - one.chance);
}

// `may` is {qualified, network, carried}: who is there, whether the station feeds mains, whether another run or a
// bypass carries their load.
function allowed(check, {qualified, network, carried}) {
  const isolates = network && check.isolates;
  return !check.forbidden && (qualified || !(check.qualified || isolates)) && (carried || !isolates);
}

// What a check tells a minute, the minutes of making ready with its own [bit/min].
function rate(key, bits) {
  return bits / (COURSE.checks[key].minutes + COURSE.making_ready);
}

// [[check's key, bits]] of what is allowed and not done, the highest rate first.
function worthMaking(thought, done, may) {
  return Object.entries(COURSE.checks).filter(([key, one]) => !done.includes(key) && allowed(one, may))
    .map(([key, one]) => [key, information(thought, one)]).filter(([, bits]) => bits >= COURSE.least_bits)
    .sort((one, other) => rate(...other) - rate(...one));
}

// Stop conditions that the signs show by themselves.
function stopsOf(signs) {
  return Object.keys(COURSE.stops).filter(
    stop => COURSE.seen_stops.some(([of, key, value]) => of === stop && signs[key] === value));
}

// The signs met whose value no sound day of the table shows.
function offRecord(thought) {
  const sound = thought.table.rows.filter(row => SUSPECT_KEYS[row.suspect] === COURSE.nothing);
  const had = place => thought.table.rows.some(row => row.values[place] < COURSE.packing.unseen);
  return Object.keys(thought.signs).filter(key => {
    const place = SIGN_KEYS.indexOf(key), code = COURSE.signs[key].values.indexOf(thought.signs[key]);
    return had(place) && !sound.some(row => row.values[place] === code);
  });
}

// The checks that want burners alight where none can be.
function outOfReach(signs) {
  return COURSE.out_of_reach.filter(([key, value]) => signs[key] === value).flatMap(([, , checks]) => checks);
}

// What must be kept to while signs stand that call for care, in words.
function meanwhile(signs) {
  return Object.entries(COURSE.stands).filter(
    ([, calls]) => Object.entries(calls).some(([key, values]) => values.includes(signs[key]))).map(([words]) => words);
}

// What to do next: {state, check, bits, ways}.
function nextCheck(thought, {done = [], stops = [], madeSafe = [], ...may}) {
  const holding = [...stops, ...stopsOf(thought.signs)].filter(one => !madeSafe.includes(one));
  if (holding.length) return {state: "call for help", stop: holding[0], check: null, bits: 0, ways: []};
  const [best, share] = ranked(thought)[0], own = COURSE.confirmed_by[best];
  const ways = worthMaking(thought, done, may), strange = best === COURSE.nothing ? offRecord(thought) : [];
  if (share >= COURSE.sure && own && !strange.length) {
    const [key, sign, must] = own, shown = thought.signs[sign], check = COURSE.checks[key];
    if (must.includes(shown)) return {state: "found", best, share, strange: [sign], check: null, bits: 0, ways};
    const mayWait = check.minutes > COURSE.long && ways.some(([one]) => COURSE.checks[one].minutes <= COURSE.long);
    if (shown === undefined && !done.includes(key) && allowed(check, may) && !mayWait)
      return {state: "check", best, bearsOut: true, check: key, bits: information(thought, COURSE.checks[key]), ways};
  }
  if (!ways.length) return {state: "not enough to tell", best, strange, check: null, bits: 0, ways};
  return {state: "check", best, check: ways[0][0], bits: ways[0][1], ways};
}

// --- What a person types for a pressure: the same as parse_quantity of units.py

const UNITS = COURSE.units, BLANKS = `[${UNITS.blanks}]`;
const NUMBER = new RegExp(UNITS.number, "y"), AROUND = new RegExp(`^${BLANKS}+|${BLANKS}+$`, "g");
const LEFT_OUT = new RegExp(`${BLANKS}|[.^()]`, "g");

// {value} in gauge Pa, or {error} in words.
function parsed(text, kind) {
  const shown = [...text].length <= 40 ? text : [...text].slice(0, 40).join("") + "...";
  const refuse = (what, words = {}) => ({
    error: `'${shown}' was given; ${UNITS.expected[kind]}. ` +
      UNITS.refusals[what].replace(/\{(\w+)\}/g, (_, word) => words[word])});
  if ([...text].length > UNITS.longest) return refuse("long");
  const tidy = [...text].map(one => UNITS.tidy[one] ?? one).join("").replace(AROUND, "");
  NUMBER.lastIndex = 0;
  const match = NUMBER.exec(tidy);
  if (!match) return refuse("number");
  const number = numberOf(match.groups);
  if (typeof number === "string") return refuse(number);
  const spelling = tidy.slice(match[0].length).replace(AROUND, "");
  if (!spelling) return refuse("unit");
  const unit = unitOf(spelling);
  if (!unit) return refuse("unknown", {spelling});
  if (!unit.scale) return refuse(unit.inch ? "inch" : "dimension", {spelling, dimension: unit.dimension});
  const value = number * unit.scale;
  if (!(Math.abs(value) <= UNITS.largest)) return refuse("large");
  if (unit.reference === "difference") return refuse("difference");
  const absolute = unit.reference === "absolute" ? value : value + UNITS.atmosphere;
  if (absolute < 0) return refuse("vacuum");
  return {value: unit.reference === "absolute" ? value - UNITS.atmosphere : value};
}

// The number that was matched, or the name of what is wrong with it.
function numberOf(match) {
  const sign = match.sign === "-" ? -1 : 1;
  if (match.under) {
    if (Number(match.under) === 0) return "zero";
    return sign * (Number(match.whole || 0) + Number(match.over) / Number(match.under));
  }
  const plain = match.grouped ? match.grouped.replaceAll(" ", "") : match.plain;
  const [, mantissa, power] = /^([^e]*)(.*)$/.exec(plain.toLowerCase());
  let read = mantissa;
  if (/^[1-9][0-9]{0,2}(,[0-9]{3})+(\.[0-9]*)?$/.test(read)) read = read.replaceAll(",", "");
  else if (/^[0-9]+,[0-9]+$/.test(read)) read = read.replace(",", ".");
  else if (!/^([0-9]+\.?[0-9]*|\.[0-9]+)$/.test(read)) return "two_ways";
  const number = sign * Number(read + power);
  return Number.isFinite(number) ? number : "large";
}

// {dimension, scale, reference} of a unit as typed; no scale where it is none of pressure.
function unitOf(spelling) {
  const exact = spelling.replace(LEFT_OUT, "").replaceAll('"', "in"), has = word => Object.hasOwn(UNITS.spellings, word);
  let bare = exact.toLowerCase();
  if (!has(bare)) bare = bare.replaceAll("per", "/").replaceAll("/hour", "/h").replaceAll("/minute", "/min")
    .replaceAll("/second", "/s");
  const found = word => ({...UNITS.spellings[word], reference: ""});
  if (has(bare)) return found(bare);
  if (Object.hasOwn(UNITS.exact, exact)) return {...UNITS.exact[exact], reference: ""};
  for (const [ending, reference] of UNITS.references) {
    if (!bare.endsWith(ending)) continue;
    const root = exact.slice(0, exact.length - ending.length), plain = bare.slice(0, bare.length - ending.length);
    const of = Object.hasOwn(UNITS.exact, root) ? UNITS.exact[root] : has(plain) ? UNITS.spellings[plain] : null;
    if (of && of.scale) return {...of, reference};
  }
  return null;
}

// --- What gauge readings amount to beside the record: the same as diagnosis/readings.py

function valueAt(key, number, ...steps) {
  return COURSE.signs[key].values[steps.filter(one => number > one).length];
}

// `read` and `record` are {key: gauge Pa}, with null where nobody looked; gives {sign: value}.
function signsOfReadings(read, record) {
  const at = COURSE.limits, set = record.set_gauge_pressure, found = {};
  const top = record.lock_up_gauge_pressure + at.LITTLE * set, has = key => read[key] != null;
  const off = read.outlet_off_later ?? read.outlet_off ?? null, settled = read.outlet_pilots ?? off;
  for (const [key, outlet] of [["outlet_on", read.outlet_on], ["outlet_pilots", read.outlet_pilots], ["outlet_off", off]])
    if (outlet != null)
      found[key] = valueAt(key, outlet, at.FAR_LOW * set, at.LOW * set, top, Math.max(top, record.rating_gauge_pressure));
  if (off != null) found.lock_up = valueAt("lock_up", off / record.lock_up_gauge_pressure - 1, -at.LOCK_UP_OFF, at.LOCK_UP_OFF);
  if (has("outlet_off") && has("outlet_off_later"))
    found.creep = valueAt("creep", read.outlet_off_later - read.outlet_off, at.STILL * set);
  if (has("inlet"))
    found.inlet = valueAt("inlet", read.inlet / record.inlet_gauge_pressure, at.INLET_FAR_LOW, at.INLET_LOW);
  if (has("inlet") && has("after_filter"))
    found.filter_drop = valueAt(
      "filter_drop", (read.inlet - read.after_filter) / Math.max(read.inlet, 1), at.DROP_MARKED, at.DROP_LARGE);
  if (has("between")) {
    const feeding = read.after_filter ?? read.inlet ?? record.inlet_gauge_pressure, outlet = read.outlet_on ?? set;
    found.between = valueAt(
      "between", (read.between - outlet) / Math.max(feeding - outlet, 1), at.BETWEEN_LOW, at.BETWEEN_HIGH);
  }
  if (has("outlet_peak") && has("outlet_on") && settled != null)
    found.spike = valueAt("spike", read.outlet_peak - Math.max(set, read.outlet_on, settled),
      at.KICK_MARKED * set, at.KICK_LARGE * set);
  return found;
}

// The sign that gas at the vent and the gauge tell only together.
function signsBesideStart(signs, read, record) {
  const start = record.relief_start_gauge_pressure, values = COURSE.signs.relief_start.values;
  const off = read.outlet_off_later ?? read.outlet_off, gas = COURSE.signs.vent_off.values.slice(1);
  const outlets = [[signs.vent_on, read.outlet_on], [signs.vent_off, off]]
    .filter(([smelt, outlet]) => gas.includes(smelt) && outlet != null).map(([, outlet]) => outlet);
  if (start == null || !outlets.length) return {};
  return {relief_start: values[Math.min(...outlets) < COURSE.limits.STARTS * start ? 1 : 2]};
}

// --- From what was entered to the answer: the same as diagnosis/look_up.py

const PLAIN = {done: [], stops: [], madeSafe: [], qualified: false, network: false, carried: false};

// What layers amount to: {kind, priors of the suspects that can be there, signs that can be met}.
function stationOf(layers) {
  const number = Object.keys(COURSE.layers).reduce((sum, key, at) => sum + (layers.includes(key) ? 2 ** at : 0), 0);
  const [kind, suspects, signs] = COURSE.by_layers[number];
  return {
    kind: Object.keys(COURSE.kinds)[kind],
    priors: Object.fromEntries(Object.entries(COURSE.priors).filter(
      ([key]) => suspects >> SUSPECT_KEYS.indexOf(key) & 1)),
    signs: SIGN_KEYS.filter((_, at) => signs >> at & 1),
  };
}

// `asked` is {layers, signs, read, record, done, stops, madeSafe, qualified, network, carried}.
function answer(asked) {
  const here = stationOf(asked.layers), gauges = signsOfReadings(asked.read, asked.record);
  const read = {...gauges, ...signsBesideStart({...asked.signs, ...gauges}, asked.read, asked.record)};
  const all = {...asked.signs, ...read};
  const signs = Object.fromEntries(here.signs.filter(key => key in all).map(key => [key, all[key]]));
  const overruled = Object.keys(read).filter(key => key in asked.signs && asked.signs[key] !== read[key]);
  const now = belief(here.kind, signs, here.priors, here.signs);
  const told = key => joint(now, COURSE.checks[key]).keys.length > 0;
  const done = Object.keys(COURSE.checks).filter(
    key => asked.done.includes(key) || !told(key) || outOfReach(signs).includes(key));
  const advice = nextCheck(now, {...PLAIN, ...asked, done});
  const stops = Object.keys(COURSE.stops).filter(
    key => !asked.madeSafe.includes(key) && (asked.stops.includes(key) || stopsOf(signs).includes(key)));
  return {stops, signs, read, overruled, here, now, advice, suspects: stops.length ? [] : suspectsOf(now, here)};
}

// The suspects with the signs that, each alone, speak for them or against them, the strongest first.
function suspectsOf(now, here) {
  const shares = signs => Object.fromEntries(ranked(belief(here.kind, signs, here.priors, here.signs)));
  const before = shares({});
  const alone = Object.entries(now.signs).map(([key, value]) => [key, shares({[key]: value})]);
  return ranked(now).filter(([key]) => here.priors[key] > 0).map(([key, share]) => {
    const ratios = alone.map(([sign, then]) => [sign, then[key] / before[key]])
      .sort((one, other) => Math.abs(other[1] - 1) - Math.abs(one[1] - 1));
    const told = speaks => ratios.filter(([, ratio]) => speaks(ratio)).map(([sign]) => inWords(sign, now.signs[sign]));
    return {
      key, share, speaks: told(ratio => ratio >= COURSE.speaks), against: told(ratio => ratio <= 1 / COURSE.speaks),
    };
  });
}

function inWords(sign, value) {
  return `${COURSE.signs[sign].name}: ${value}`;
}

// Why an advice was given, in words.
function whyOf({state, stop, best, bearsOut, strange = []}, signs) {
  if (stop) return COURSE.stops[stop];
  const way = state === "found" ? "found" : bearsOut ? "bears out" : state === "check" ? "most"
    : best === COURSE.other ? "fits none" : strange.length ? "strange" : "nothing left";
  const told = strange.map(key => `${COURSE.signs[key].name} is ${signs[key]}`).join("; ");
  return COURSE.why[way].replace("{suspect}", COURSE.suspects[best]).replace("{sign} is {value}", told);
}

// How the search ends, in words: of a finding how likely it is, then what is safe to do.
function endOf({state, best, share}, percent) {
  if (state !== "found") return COURSE.ends[state];
  return `${COURSE.ends.found.replace("{share}", percent(share))} ${COURSE.after[best] ?? COURSE.after[""]}`;
}
