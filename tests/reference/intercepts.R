# A normal level of each cluster by adaptive Gauss-Hermite quadrature (lme4). Writes intercepts.csv
suppressMessages(library(lme4))
source("data.R")
rows <- list()
fit <- function(data, formula, d, nodes) {
  m <- glmer(formula, d, binomial, nAGQ = nodes,
    control = glmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 2e-3, rhoend = 1e-10, maxfun = 1e6), tolPwrss = 1e-13,
      calc.derivs = TRUE))
  # a second search from where the first ended
  m <- update(m, start = list(theta = getME(m, "theta"), fixef = fixef(m)))
  stopifnot(all(is.finite(fixef(m))))
  b <- fixef(m)
  rows[[length(rows) + 1]] <<- data.frame(data, nodes, term = names(b), estimate = b,
    se = sqrt(diag(as.matrix(vcov(m, use.hessian = TRUE)))), spread = sqrt(VarCorr(m)[[1]][1]),
    log_likelihood = ll(m, d))
}
# the log-likelihood itself, for lme4 leaves out a constant when nodes are more than one: at the same parameters
# each cluster's integral by R's integrate
ll <- function(m, d) {
  X <- model.matrix(m); y <- getME(m, "y"); g <- getME(m, "flist")[[1]]; s <- sqrt(VarCorr(m)[[1]][1]); e <- drop(X %*% fixef(m))
  sum(sapply(levels(g), function(l) { i <- g == l
    f <- function(u) sapply(u, function(v) sum(plogis(ifelse(y[i] == 1, 1, -1) * (e[i] + s * v), log.p = TRUE)) + dnorm(v, log = TRUE))
    top <- optimize(f, c(-8, 8), maximum = TRUE, tol = 1e-10)
    top$objective + log(integrate(function(u) exp(f(u) - top$objective), top$maximum - 10, top$maximum + 10, rel.tol = 1e-11, subdivisions = 1000)$value) }))
}
for (nodes in c(1, 25)) {
  fit("occupants_90", y ~ trained + crew + seat_far + (1 | mishap), occupants, nodes)
  fit("bacteria", y ~ drug + drug_plus + late + (1 | id), bacteria, nodes)
  fit("cbpp", ill ~ period2 + period3 + period4 + (1 | herd), cbpp, nodes)
}
write_rows(rows, "intercepts.csv")
