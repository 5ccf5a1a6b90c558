// Practice: simulated days out of the tables, by number; the same number is the same case on every phone.

// How many checks have been made when a case is shown, and how many suspects and checks there are to choose from.
const MADE = 3, CHOICES = 4, CASES = 200;
const STOP_AND_CALL = "stop and call";

// Numbers from 0 to below 1 that go by a seed: a linear congruential generator.
function seeded(seed) {
  let at = seed * 2654435761 >>> 0;
  return () => (at = (Math.imul(at, 1664525) + 1013904223) >>> 0) / 2 ** 32;
}

function shuffled(list, chance) {
  const left = [...list], found = [];
  while (left.length) found.push(...left.splice(Math.floor(chance() * left.length), 1));
  return found;
}

// What a check shows on a day of the tables: {sign: value}.
function shownBy(check, day) {
  const values = COURSE.checks[check].signs.map(key => [key, COURSE.signs[key].values[day.values[SIGN_KEYS.indexOf(key)]]]);
  return Object.fromEntries(values.filter(([, value]) => value !== undefined));
}

// {kind, truth, signs, suspects, checks, thought, advice}: what the first checks showed, and what there is to choose.
function caseOf(number) {
  const chance = seeded(number), pick = list => list[Math.floor(chance() * list.length)];
  for (let warm = 0; warm < 3; warm++) chance();
  const kind = pick(Object.keys(COURSE.kinds)), plain = key => key !== COURSE.other && key !== COURSE.two;
  const {rows} = tableOf(kind, SIGN_KEYS);
  const truth = pick([...new Set(rows.map(row => SUSPECT_KEYS[row.suspect]))].filter(plain));
  const day = pick(rows.filter(row => SUSPECT_KEYS[row.suspect] === truth));
  let signs = {}, thought = belief(kind, signs, COURSE.priors), advice = nextCheck(thought, PLAIN);
  for (const done = []; advice.check && done.length < MADE;) {
    done.push(advice.check);
    const more = {...signs, ...shownBy(advice.check, day)}, then = belief(kind, more, COURSE.priors);
    const next = nextCheck(then, {...PLAIN, done});
    // A case ends where something is left to decide.
    if (!next.check && !next.stop) break;
    [signs, thought, advice] = [more, then, next];
  }
  const ways = advice.ways.map(([key]) => key);
  const never = pick(Object.keys(COURSE.checks).filter(key => COURSE.checks[key].forbidden));
  const worse = shuffled(ways.filter(key => key !== advice.check), chance).slice(0, CHOICES - 2);
  return {
    kind, truth, signs, thought, advice,
    suspects: shuffled(ranked(thought).slice(0, CHOICES).map(([key]) => key), chance),
    checks: [...shuffled([...(advice.check ? [advice.check] : []), ...worse, never], chance), STOP_AND_CALL],
  };
}

// What a choice of check is worth, from 0 to 1, and why in words.
function markOf({advice, thought}, choice) {
  if (advice.state === "call for help") {
    const why = `${upper(COURSE.stops[advice.stop])}.`;
    return choice === STOP_AND_CALL ? {mark: 1, why} : {mark: 0, why: `Stop comes first. ${why}`};
  }
  if (choice === STOP_AND_CALL) return {mark: 0, why: "No stop condition holds here: there is a safe check to make."};
  const check = COURSE.checks[choice];
  if (check.forbidden) return {mark: 0, why: `Stop. ${check.forbidden}`};
  const told = key => rate(key, information(thought, COURSE.checks[key]));
  const words = key => `${COURSE.checks[key].name}: ${told(key).toFixed(2)} bit a minute`;
  if (choice === advice.check) return {mark: 1, why: `${upper(words(choice))}.`};
  const mark = Math.min(1, told(choice) / told(advice.check));
  return {mark, why: `${upper(words(choice))}; ${words(advice.check)}.`};
}

function practiceCard(leave) {
  const inside = el("div"), tally = {marks: 0, of: 0};
  const ask = (question, choices, name, answered) => {
    const said = el("p", {className: "wrong", role: "status", hidden: true});
    const buttons = choices.map(key => plain(upper(name(key)), () => {
      const {mark, why, next} = answered(key);
      tally.marks += mark;
      tally.of += 1;
      for (const one of buttons) one.disabled = true;
      buttons[choices.indexOf(key)].classList.add("chosen");
      said.hidden = false;
      if (mark === 1) said.classList.replace("wrong", "right");
      said.textContent = `${mark === 1 ? "Right" : mark > 0 ? `Worth ${percent(mark)}` : "Not this"}. ${why}`;
      next();
    }));
    return el("fieldset", {}, el("legend", {}, question), el("div", {className: "outcomes"}, ...buttons), said);
  };
  const show = number => {
    const one = caseOf(number), best = ranked(one.thought)[0][0];
    const on = plain("Next case", () => show(number % CASES + 1));
    const ending = el("div", {hidden: true}, el("p", {}, el("b", {}, `Simulated with: ${COURSE.suspects[one.truth]}.`),
      one.truth === best ? "" : " What was met so far speaks for another. That happens, and it is why one checks on."),
      el("p", {className: "tally"}), el("div", {className: "row"}, on));
    const second = () => ask("What comes next?", one.checks, key => key === STOP_AND_CALL ? key : COURSE.checks[key].name,
      key => ({...markOf(one, key), next: () => {
        ending.hidden = false;
        ending.querySelector(".tally").textContent = `${tally.marks.toFixed(1)} of ${tally.of} marks so far.`;
        on.focus();
      }}));
    const first = ask("Which suspect is the likeliest?", one.suspects, key => COURSE.suspects[key], key => ({
      mark: key === best ? 1 : 0,
      why: `${ranked(one.thought).slice(0, CHOICES).map(([other, share]) => `${upper(COURSE.suspects[other])} ${
        percent(share)}`).join("; ")}.`,
      next: () => { const part = second(); ending.before(part); part.querySelector("button").focus(); },
    }));
    const head = el("h3", {tabIndex: -1}, `Case ${number}: ${COURSE.kinds[one.kind].name}`);
    inside.replaceChildren(head, el("ul", {}, ...Object.entries(one.signs).map(
      ([key, value]) => el("li", {}, inWords(key, value)))), first, ending);
    head.focus();
  };
  const number = el("input", {id: "case", type: "number", min: 1, max: CASES, value: 1});
  const go = () => show(Math.min(CASES, Math.max(1, Math.round(Number(number.value) || 1))));
  return {
    part: card("?", "Practice", "last", el("p", {className: "quiet"},
      "Simulated days. Nothing here says anything about your station, and nothing is kept."), inside,
    el("div", {className: "field"}, el("label", {htmlFor: "case"}, `Case, 1 to ${CASES}: the same on every phone`), number),
    el("div", {className: "row"}, plain("Show this case", go), plain("Back to the look-up", leave))), show,
  };
}
