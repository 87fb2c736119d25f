# Exact conditional logistic regression (survival). Writes conditional.csv
suppressMessages(library(survival))
rows <- list()
fit <- function(data, formula, d) { m <- clogit(formula, d, method = "exact", control = coxph.control(eps = 1e-13, toler.chol = 1e-14, iter.max = 100))
  rows[[length(rows) + 1]] <<- data.frame(data, term = names(coef(m)), estimate = coef(m), se = sqrt(diag(vcov(m))), log_likelihood = m$loglik[2]) }
o <- read.csv("../golden/occupants_90.csv")
fit("occupants_90", y ~ trained + crew + seat_far + strata(mishap), o)
fit("infert", case ~ spontaneous + induced + strata(stratum), read.csv("../golden/infert.csv"))
out <- do.call(rbind, rows); num <- sapply(out, is.numeric); out[num] <- lapply(out[num], signif, 12)
write.csv(out, "conditional.csv", row.names = FALSE, quote = FALSE)
