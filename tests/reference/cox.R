# Proportional hazards: ties, strata, clusters, weights, late entry, competing causes, and whether hazards stay in
# proportion (survival). Writes cox.csv and cox_proportional.csv
suppressMessages(library(survival))
source("data.R")
lung <- read.csv("../golden/lung.csv"); mgus2 <- read.csv("../golden/mgus2.csv"); heart <- read.csv("../golden/heart.csv")
halves <- (seq_len(nrow(lung)) %% 4 + 1) / 2
mgus2$time <- with(mgus2, ifelse(pstat == 1, ptime, futime))
mgus2$cause <- with(mgus2, factor(ifelse(pstat == 1, 1, 2 * death), 0:2))
occupants$cause <- factor(occupants$ev, 0:2)
late <- finegray(Surv(time, cause) ~ age + male + id, mgus2, etype = "1")
inside <- finegray(Surv(tm, cause) ~ trained + crew + seat_far + mishap, occupants, etype = "1")
tight <- coxph.control(eps = 1e-13, toler.chol = 1e-14, iter.max = 100)
rows <- list(); checks <- list()
fit <- function(data, model, formula, d, group, w = rep(1, nrow(d))) for (ties in c("efron", "breslow")) {
  d$group <- d[[group]]; d$w <- w; environment(formula) <- environment()
  m <- coxph(formula, d, ties = ties, control = tight, cluster = group, weights = w)
  rows[[length(rows) + 1]] <<- data.frame(data, model, ties, term = names(coef(m)), estimate = coef(m),
    se = sqrt(diag(m$naive.var)), robust = sqrt(diag(m$var)), null = m$loglik[1], log_likelihood = m$loglik[2])
  if (model %in% c("plain", "strata", "entry")) for (transform in c("km", "rank", "identity")) {
    z <- cox.zph(coxph(formula, d, ties = ties, control = tight), transform, terms = FALSE)
    along <- if (model == "strata") NA else c(cor(z$x, z$y), NA) # with strata R scales by each stratum's own variance
    checks[[length(checks) + 1]] <<- data.frame(data, model, ties, transform, term = rownames(z$table),
      chi_square = z$table[, 1], p = z$table[, 3], correlation = along) } }
fit("occupants_90", "plain", Surv(tm, ev == 1) ~ trained + crew + seat_far, occupants, "mishap")
fit("occupants_90", "strata", Surv(tm, ev == 1) ~ trained + crew + seat_far + strata(mishap), occupants, "mishap")
fit("occupants_90", "fine_gray", Surv(fgstart, fgstop, fgstatus) ~ trained + crew + seat_far, inside, "mishap", inside$fgwt)
fit("lung", "plain", Surv(time, died) ~ age + female + ecog, lung, "inst")
fit("lung", "strata", Surv(time, died) ~ age + ecog + strata(female), lung, "inst")
fit("lung", "weights", Surv(time, died) ~ age + female + ecog, lung, "inst", halves)
fit("mgus2", "plain", Surv(futime, death) ~ age + male, mgus2, "dxyr")
fit("mgus2", "strata", Surv(futime, death) ~ age + male + strata(dxyr), mgus2, "dxyr")
fit("mgus2", "fine_gray", Surv(fgstart, fgstop, fgstatus) ~ age + male, late, "id", late$fgwt)
fit("heart", "entry", Surv(start, stop, event) ~ age + year + surgery + transplant, heart, "id")
write_rows(rows, "cox.csv")
write_rows(checks, "cox_proportional.csv")
