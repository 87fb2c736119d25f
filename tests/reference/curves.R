# Shares that met each cause, with errors over clusters (survfit of several states; its influences summed within cluster,
# since its own errors take no heed of them), and curves of bands (survfit; plain self-consistency written out here, to
# 1e-12 a step). Writes curves.csv
suppressMessages(library(survival))
source("data.R")
rows <- list()
causes <- function(data, group, d, cluster) { # influences have a column for the start before those of the times
  d$state <- factor(d$cause, 0:max(d$cause))
  fit <- survfit(Surv(time, state) ~ 1, data = d, influence = TRUE)
  at <- unique(unname(quantile(d$time[d$cause > 0], c(.02, .1, .25, .5, .75, .9), type = 1)))
  place <- match(at, fit$time)
  for (k in seq_len(max(d$cause))) rows[[length(rows) + 1]] <<- data.frame(data, group, method = "survfit", cause = k,
    time = at, share = fit$pstate[place, k + 1], se = sqrt(colSums(rowsum(fit$influence.pstate[, place + 1, k + 1], cluster)^2))) }
o <- with(occupants, data.frame(mishap, trained, time = tm, cause = ev, lost = ifelse(id %% 7 == 0, 0, ev)))
for (a in 0:1) { d <- subset(o, trained == a); causes("occupants_90", a, d, d$mishap)
  d$cause <- d$lost; causes("occupants_90_lost", a, d, d$mishap) }
m <- with(read.csv("../golden/mgus2.csv"), data.frame(time = ifelse(pstat == 1, ptime, futime), cause = ifelse(pstat == 1, 1, 2 * death)))
causes("mgus2", 0, m, seq_along(m$time) %% 40)
t <- read.csv("../golden/transplant.csv"); causes("transplant", 0, t, seq_along(t$time) %% 40)

bands <- function(data, group, d) { # ever: 1 the time comes, 0 it never does, NA not known: (lo, never]
  never <- 1e9
  lo <- ifelse(!is.na(d$ever) & d$ever == 0, never - 1, d$lo); hi <- ifelse(!is.na(d$ever) & d$ever == 1, d$hi, never)
  places <- sort(unique(c(lo[lo == hi], hi, lo + 1e-6))) # all that can matter: points, right ends, just after left ends
  allowed <- outer(seq_along(lo), seq_along(places), function(i, j) ifelse(lo[i] == hi[i], places[j] == lo[i], places[j] > lo[i] & places[j] <= hi[i]))
  mass <- rep(1 / length(places), length(places))
  for (turn in 1:200000) { new <- mass * colMeans(allowed / c(allowed %*% mass)); far <- max(abs(new - mass)); mass <- new; if (far < 1e-12) break }
  keep <- unique(unname(quantile(d$hi[is.finite(d$hi)], c(.05, .25, .5, .75, .95), type = 1)))
  rows[[length(rows) + 1]] <<- data.frame(data, group, method = "self_consistency", cause = 1, time = keep,
    share = sapply(keep, function(t) sum(mass[places <= t])), se = NA)
  band <- Surv(ifelse(lo > 0, lo, NA), ifelse(hi < never, hi, NA), type = "interval2")
  s <- summary(survfit(band ~ 1), times = keep, extend = TRUE)
  rows[[length(rows) + 1]] <<- data.frame(data, group, method = "survfit", cause = 1, time = keep, share = 1 - s$surv, se = NA) }
for (a in 0:1) bands("occupants_90_bands", a, with(subset(occupants, trained == a), data.frame(lo, hi, ever = as.integer(ev == 1))))
open <- function(d) transform(d, ever = ifelse(is.finite(hi), 1, NA))
for (a in 0:1) { bands("diabetes_bands", a, open(subset(read.csv("../golden/diabetes_bands.csv"), male == a)))
  bands("mouse_tumours", a, open(subset(read.csv("../golden/mouse_tumours.csv"), germfree == a))) }
write_rows(rows, "curves.csv")
