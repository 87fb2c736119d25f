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

// The share of people that training can still change: those who die untrained, or live where it harms.
function roomFor(gain, untrained) {
  return gain >= 0 ? 1 - untrained : untrained;
}

// The gain on the day of the course of which the records would show this difference: their people, some of whom were
// trained long before their mishap, each hold min(gain faded, room). Where all the room is filled, the smallest gain that
// fills it for everybody. `recency` holds [months, people], the latest course first.
function gainOfFirstDay(observed, untrained, fading, recency) {
  if (recency.length === 0) return observed;
  const room = roomFor(observed, untrained);
  const size = Math.min(Math.abs(observed), room);
  const still = recency.map(([months]) => Math.exp((-fading * months) / MONTHS_IN_A_YEAR));
  let rest = recency.reduce((sum, [, people], place) => sum + people * still[place], 0);
  const everybody = recency.reduce((sum, [, people]) => sum + people, 0);
  let cut = 0;
  for (let place = 0; place < recency.length; place += 1) {
    const gain = (everybody * size - cut * room) / rest;
    if (gain * still[place] <= room) return observed < 0 ? -gain : gain;
    cut += recency[place][1];
    rest -= recency[place][1] * still[place];
  }
  const filled = room / still[still.length - 1];
  return observed < 0 ? -filled : filled;
}

// What training adds, on average over the people of a staff settled into its rhythm: a gain greater than its room is held
// whole until it has faded into it.
function differenceHeld(gain, untrained, interval, fading, leaving) {
  const room = roomFor(gain, untrained);
  const size = Math.abs(gain);
  const sign = gain < 0 ? -1 : 1;
  if (size <= room) return sign * size * heldOnAverage(interval, fading, leaving);
  const reach = room > 0 && fading > 0 ? Math.log(size / room) / fading : Infinity;
  if (interval <= reach) return sign * room;
  const held = yearsThere(reach, leaving) + Math.exp(-leaving * reach) * yearsThere(interval - reach, leaving + fading);
  return (sign * room * held) / yearsThere(interval, leaving);
}

// Years from 0 to these, each counting for exp(-rate x years so far).
function yearsThere(years, rate) {
  return years === Infinity ? 1 / rate : years * meanDiscount(rate * years);
}

// One column of the worlds in one world; a column that is the same in every world is stored as one number.
function at(column, world) {
  return typeof column === "number" ? column : column[world];
}

// What training adds on the day of the course to each world's people, by group and kind (never trained, trained), once
// for both policies. The difference as recorded holds the fading already, so that is taken out once; it is cut where held.
function gains(worlds) {
  const { size } = worlds;
  const recency = [...worlds.recency].sort((one, other) => one[0] - other[0]);
  const of = (group, kind) => Float64Array.from({ length: size }, (_, w) =>
    gainOfFirstDay(at(group.observed[kind], w), at(group.untrained[kind], w), at(worlds.fading, w), recency));
  return worlds.groups.map((group) => ({ never: of(group, "never"), trained: of(group, "trained") }));
}

// The chance to die of those who hold training, by what it adds: false confidence takes no more survival than there is.
// Training and the bought spends avert no less together than the spends alone.
function dies(untrained, added, false_confidence, left) {
  const lives = Math.min(Math.max(untrained + added, 0), 1);
  const died = 1 - Math.max(lives - false_confidence, 0);
  return Math.min(died * left.held, Math.max(died, 1 - untrained) * left.without);
}

// The share of the people of one group in a mishap who die under a policy, in one world. Who is trained today counts as
// trained, whoever would be trained anew as never trained. `left` is what the bought spends leave of the deaths.
function shareWhoDie(group, addedBy, world, false_confidence, covered, covered_today, left) {
  const kept = Math.min(covered, covered_today);
  const added = Math.max(covered - covered_today, 0);
  const dropped = Math.max(covered_today - covered, 0);
  const rest = 1 - Math.max(covered, covered_today);
  const never = at(group.untrained.never, world);
  const trained = at(group.untrained.trained, world);
  const holding = kept * dies(trained, addedBy("trained"), false_confidence, left)
    + added * dies(never, addedBy("never"), false_confidence, left);
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
    const leaving = at(group.leaving, world);
    const addedBy = (kind) => differenceHeld(gain[place][kind][world], at(group.untrained[kind], world),
      policy.interval, fading, leaving);
    const died = shareWhoDie(group, addedBy, world, at(worlds.false_confidence, world),
      policy.covered[place], today.covered[place], left);
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
