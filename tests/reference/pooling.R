# Ratios of risk put together over publications, and over strata of one (metafor). Writes pooling.csv
# `knha` scales by Hartung and Knapp, `adhoc` the same but never narrower; tight tolerances, since the usual one
# for Paule and Mandel leaves the fourth digit open
suppressMessages(library(metafor))
source("data.R")
rows <- list()
keep <- function(data, model, m) { p <- predict(m)
  rows[[length(rows) + 1]] <<- data.frame(data, model, estimate = as.numeric(m$beta), se = m$se, low = m$ci.lb, high = m$ci.ub,
    tau2 = if (is.null(m$tau2)) NA else m$tau2, i2 = if (is.null(m$I2)) NA else m$I2, q = m$QE,
    further_low = if (is.null(p$pi.lb)) NA else p$pi.lb, further_high = if (is.null(p$pi.ub)) NA else p$pi.ub) }
bcg <- read.csv("../golden/bcg.csv")
five <- data.frame(treated_ill = c(9, 17, 14, 6, 2), treated_well = c(41, 73, 64, 18, 28), control_ill = c(17, 21, 7, 15, 9), control_well = c(30, 51, 25, 22, 31))
three <- five[c(1, 3, 5), ]
for (one in list(list("bcg", bcg), list("five", five), list("three", three))) {
  e <- escalc("RR", ai = treated_ill, bi = treated_well, ci = control_ill, di = control_well, data = one[[2]])
  for (method in c("PM", "DL", "REML")) for (test in c("z", "knha", "adhoc"))
    keep(one[[1]], paste(method, test, sep = "_"), suppressWarnings(rma(yi, vi, data = e, method = method, test = test, control = list(tol = 1e-14, threshold = 1e-12, maxiter = 1000)))) }
tolbutamide <- data.frame(a = c(8, 22), b = c(98, 76), c = c(5, 16), d = c(115, 69))
for (measure in c("RD", "RR", "OR")) keep("tolbutamide", paste0("MH_", measure), rma.mh(a, b, c, d, data = tolbutamide, measure = measure, level = 90))
keep("five", "MH_RR", rma.mh(treated_ill, treated_well, control_ill, control_well, data = five, measure = "RR"))
keep("five", "MH_RD", rma.mh(treated_ill, treated_well, control_ill, control_well, data = five, measure = "RD"))
write_rows(rows, "pooling.csv")
