"use strict";
// What a policy comes to in every drawn world: a twin of the package's decision floor. Pure functions of plain numbers and
// arrays; times in years, money a year, shares in [0, 1]. A test compares it with the package on the same worlds.

const MONTHS_IN_A_YEAR = 12;
const TAIL = 0.025;

// The mean of exp(-x u) over u from 0 to 1.
function meanDiscount(x) {
  return x === 0 ? 1 : Math.expm1(-x) / -x;
}

// The share of the first day's gain that people kept trained hold on average: fading and leaving are rates a year.
function heldOnAverage(interval, fading, leaving) {
  const lost = fading + leaving;
  if (interval === Infinity) return lost > 0 ? leaving / lost : 1;
  return Math.min(meanDiscount(lost * interval) / meanDiscount(leaving * interval), 1);
}

// Courses a year for one person kept trained: first courses of those who join, refreshers of those who stay.
function coursesForOne(interval, leaving) {
  if (interval === Infinity) return { first: leaving, refreshers: 0 };
  const gone = leaving * interval;
  return { first: leaving, refreshers: Math.exp(-gone) / (interval * meanDiscount(gone)) };
}

// The mean held share among the people behind the records, some of whom were trained long before their mishap.
function heldInRecords(fading, recency) {
  let held = 0;
  let people = 0;
  for (const [months, count] of recency) {
    held += count * Math.exp((-fading * months) / MONTHS_IN_A_YEAR);
    people += count;
  }
  return people === 0 ? 1 : held / people;
}

// One column of the worlds in one world; a column that is the same in every world is stored as one number.
function at(column, world) {
  return typeof column === "number" ? column : column[world];
}

// What training adds on the day of the course to each world's people, by group and kind (never trained, trained), once
// for both policies. The difference as recorded holds the fading already, so it is divided out once; it is cut where held.
function gains(worlds) {
  const { size } = worlds;
  const held = Float64Array.from({ length: size }, (_, w) => heldInRecords(at(worlds.fading, w), worlds.recency));
  const of = (group, kind) => Float64Array.from({ length: size }, (_, w) =>
    at(group.observed[kind], w) / held[w]);
  return worlds.groups.map((group) => ({ never: of(group, "never"), trained: of(group, "trained") }));
}

// The chance to die of somebody who holds training: no more can live than all, and false confidence takes no more survival
// than there is. Training and the bought spends avert no less together than the spends alone.
function dies(untrained, gain, held, false_confidence, left) {
  const lives = Math.min(Math.max(untrained + gain * held, 0), 1);
  const died = 1 - Math.max(lives - false_confidence, 0);
  return Math.min(died * left.held, Math.max(died, 1 - untrained) * left.without);
}

// The share of the people of one group in a mishap who die under a policy, in one world. Who is trained today counts as
// trained, whoever would be trained anew as never trained. `left` is what the bought spends leave of the deaths.
function shareWhoDie(group, gain, world, false_confidence, covered, held, covered_today, left) {
  const kept = Math.min(covered, covered_today);
  const added = Math.max(covered - covered_today, 0);
  const dropped = Math.max(covered_today - covered, 0);
  const rest = 1 - Math.max(covered, covered_today);
  const never = at(group.untrained.never, world);
  const trained = at(group.untrained.trained, world);
  const holding = kept * dies(trained, gain.trained[world], held, false_confidence, left)
    + added * dies(never, gain.never[world], held, false_confidence, left);
  return holding + (dropped * (1 - trained) + rest * (1 - never)) * left.without;
}

// What the bought spends leave of the deaths: of people who hold training, part of what they avert is averted already.
function leftBySpends(spends, bought, world) {
  const left = { held: 1, without: 1 };
  spends.forEach((spend, place) => {
    if (!bought[place]) return;
    left.held *= 1 - at(spend.deaths_averted, world) * (1 - at(spend.overlap, world));
    left.without *= 1 - at(spend.deaths_averted, world);
  });
  return left;
}

// Courses and money of one policy in one world.
function effort(worlds, policy, world) {
  const sum = { first: 0, refreshers: 0, cost: 0 };
  worlds.groups.forEach((group, place) => {
    const courses = coursesForOne(policy.interval, at(group.leaving, world));
    const people = group.people * policy.covered[place];
    sum.first += people * courses.first;
    sum.refreshers += people * courses.refreshers;
  });
  sum.cost = sum.first * at(worlds.first_cost, world) + sum.refreshers * at(worlds.refresher_cost, world);
  if (worlds.groups.some((group, place) => group.people * policy.covered[place] > 0)) sum.cost += at(worlds.fixed_cost, world);
  worlds.spends.forEach((spend, place) => {
    if (policy.bought[place]) sum.cost += at(spend.cost_a_year, world);
  });
  const courses = sum.first + sum.refreshers;
  sum.cost += courses * at(worlds.injuries_per_course, world) * at(worlds.injury_cost, world);
  sum.training_deaths = courses * at(worlds.deaths_per_course, world);
  return sum;
}

// Deaths a year of the people at risk under a policy, in one world.
function deaths(worlds, policy, today, gain, world) {
  const left = leftBySpends(worlds.spends, policy.bought, world);
  const mishaps = at(worlds.mishaps_a_year, world);
  const fading = at(worlds.fading, world);
  return worlds.groups.reduce((sum, group, place) => {
    const held = heldOnAverage(policy.interval, fading, at(group.leaving, world));
    const died = shareWhoDie(group, gain[place], world, at(worlds.false_confidence, world),
      policy.covered[place], held, today.covered[place], left);
    return sum + mishaps * at(group.at_risk, world) * died;
  }, 0);
}

// Lives and money of the policy tried against today's, world by world; `cost_today` and `courses_today` are today's own.
function outcome(worlds, tried, today, gain) {
  const names = ["lives", "cost", "cost_today", "extra", "courses", "courses_today"];
  const found = Object.fromEntries(names.map((name) => [name, new Float64Array(worlds.size)]));
  for (let w = 0; w < worlds.size; w += 1) {
    const [one, other] = [tried, today].map((policy) => effort(worlds, policy, w));
    found.lives[w] = deaths(worlds, today, today, gain, w) - deaths(worlds, tried, today, gain, w)
      - (one.training_deaths - other.training_deaths);
    found.cost[w] = one.cost;
    found.cost_today[w] = other.cost;
    found.extra[w] = one.cost - other.cost;
    found.courses[w] = one.first + one.refreshers;
    found.courses_today[w] = other.first + other.refreshers;
  }
  return found;
}

function mean(values) {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

// The value below which a share of the worlds lies, straight between neighbours.
function quantile(sorted, share) {
  const place = share * (sorted.length - 1);
  const below = Math.floor(place);
  const above = Math.min(below + 1, sorted.length - 1);
  return sorted[below] + (place - below) * (sorted[above] - sorted[below]);
}

function withLimits(values) {
  const sorted = Float64Array.from(values).sort();
  const [low, high] = [TAIL, 1 - TAIL].map((share) => quantile(sorted, share));
  return { value: mean(values), low, high };
}

// Limits of money over lives: a world without a life gained is worth it at no price.
function ratioLimits(money, lives) {
  const ratio = lives.map((life, w) => (life > 0 ? money[w] / life : Infinity));
  const step = (share) => Float64Array.from(ratio).sort()[Math.max(Math.ceil(share * ratio.length) - 1, 0)];
  const high = step(1 - TAIL);
  lives.forEach((life, w) => {
    if (life <= 0 && money[w] < 0) ratio[w] = -Infinity;
  });
  const low = step(TAIL);
  return { low: Number.isFinite(low) ? low : null, high: Number.isFinite(high) ? high : null };
}

// Money for one life: expected money over expected lives, in the words that their signs allow.
function costPerLife(extra, lives) {
  const [money, life] = [mean(extra), mean(lives)];
  if (life > 0 && money > 0) return { form: "bought", value: money / life, ...ratioLimits(extra, lives) };
  if (life < 0 && money < 0) {
    const [freed, lost] = [extra, lives].map((values) => values.map((value) => -value));
    return { form: "freed", value: money / life, ...ratioLimits(freed, lost) };
  }
  if (life === 0 && money === 0) return { form: "same", value: null };
  return { form: life >= 0 && money <= 0 ? "cheaper" : "dearer", value: null };
}

// All that the page shows of a policy tried against today's.
function settle(worlds, tried, today, gain, value_of_life) {
  const found = outcome(worlds, tried, today, gain);
  const worth = value_of_life === null ? null
    : withLimits(found.lives.map((life, w) => value_of_life * life - found.extra[w]));
  return {
    lives: withLimits(found.lives),
    cost_per_life: costPerLife(found.extra, found.lives),
    extra: withLimits(found.extra),
    cost: { ...withLimits(found.cost), today: mean(found.cost_today) },
    courses: { ...withLimits(found.courses), today: mean(found.courses_today) },
    chance: { value: mean(found.lives.map((life) => (life < 0 ? 1 : 0))) },
    worth,
  };
}
