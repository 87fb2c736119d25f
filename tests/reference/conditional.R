# Exact conditional logistic regression (survival). Writes conditional.csv
suppressMessages(library(survival))
source("data.R")
rows <- list()
fit <- function(data, formula, d) { m <- clogit(formula, d, method = "exact", control = coxph.control(eps = 1e-13, toler.chol = 1e-14, iter.max = 100))
  rows[[length(rows) + 1]] <<- data.frame(data, term = names(coef(m)), estimate = coef(m), se = sqrt(diag(vcov(m))), log_likelihood = m$loglik[2]) }
fit("occupants_90", y ~ trained + crew + seat_far + strata(mishap), occupants)
fit("infert", case ~ spontaneous + induced + strata(stratum), infert)
fit("bacteria", y ~ week + late + strata(id), bacteria)
fit("cbpp", ill ~ period2 + period3 + period4 + strata(herd), cbpp)
write_rows(rows, "conditional.csv")
