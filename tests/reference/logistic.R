# Logistic and linear coefficients with CR0, CR1, CR2 over clusters (sandwich, clubSandwich). Writes logistic.csv
suppressMessages({library(sandwich); library(clubSandwich)})
source("data.R")
rows <- list()
keep <- function(data, model, method, fit, v, df = NA)
  rows[[length(rows) + 1]] <<- data.frame(data, model, method, term = names(coef(fit)), estimate = coef(fit), se = sqrt(diag(v)), df)
all_methods <- function(data, model, fit, cluster) {
  keep(data, model, "CR0", fit, vcovCL(fit, cluster, type = "HC0", cadjust = FALSE))
  keep(data, model, "CR1", fit, vcovCL(fit, cluster, type = "HC0", cadjust = TRUE))
  v <- vcovCR(fit, cluster, type = "CR2"); keep(data, model, "CR2", fit, v, coef_test(fit, v, test = "Satterthwaite")$df_Satt)
}
# CR2 with the symmetric root, written out with full matrices: the package's choice of root for a logistic model
symmetric <- function(data, fit, cluster) { m <- fitted(fit); r <- sqrt(m * (1 - m)); X <- model.matrix(fit) * r; e <- (fit$y - m) / r
  B <- solve(crossprod(X)); R <- diag(nrow(X)) - X %*% B %*% t(X); U <- NULL; P <- vector("list", ncol(X))
  for (g in unique(cluster)) { i <- which(cluster == g); d <- eigen(R[i, i, drop = FALSE], symmetric = TRUE)
    A <- d$vectors %*% (ifelse(d$values > 1e-10, d$values^-.5, 0) * t(d$vectors)); U <- cbind(U, t(X[i, , drop = FALSE]) %*% A %*% e[i])
    for (j in seq_along(P)) P[[j]] <- cbind(P[[j]], R[, i, drop = FALSE] %*% A %*% X[i, , drop = FALSE] %*% B[, j]) }
  df <- sapply(P, function(p) { q <- crossprod(p); sum(diag(q))^2 / sum(q * q) })
  keep(data, "logistic", "CR2_symmetric", fit, B %*% tcrossprod(U) %*% B, df) }
o <- occupants; f <- y ~ trained + crew + seat_far
all_methods("occupants_90", "logistic", glm(f, binomial, o, control = tight), o$mishap)
symmetric("occupants_90", glm(f, binomial, o, control = tight), o$mishap)
all_methods("occupants_90", "linear", lm(f, o), o$mishap)
i <- infert
m <- glm(case ~ spontaneous + induced + age, binomial, i, control = tight)
all_methods("infert", "logistic", m, i$stratum); symmetric("infert", m, i$stratum)
all_methods("infert", "linear", lm(case ~ spontaneous + induced + age, i), i$stratum)
both <- function(data, f, d, cluster) { m <- glm(f, binomial, d, control = tight)
  all_methods(data, "logistic", m, cluster); symmetric(data, m, cluster); all_methods(data, "linear", lm(f, d), cluster) }
both("bacteria", y ~ drug + drug_plus + late, bacteria, bacteria$id)
both("cbpp", ill ~ period2 + period3 + period4, cbpp, cbpp$herd)
# everyone a cluster of their own: CR0 and CR2 are the heteroscedasticity-consistent HC0 and HC2
t <- read.csv("../golden/titanic_cells.csv"); t <- t[rep(seq_len(nrow(t)), t$Freq), ]
t$lived <- as.integer(t$Survived == "Yes"); t$class <- factor(t$Class, c("1st", "2nd", "3rd", "Crew"))
t$female <- as.integer(t$Sex == "Female"); t$adult <- as.integer(t$Age == "Adult")
m <- glm(lived ~ class + female + adult, binomial, t, control = tight)
keep("titanic_cells", "logistic", "CR0", m, vcovHC(m, "HC0")); keep("titanic_cells", "logistic", "CR2", m, vcovHC(m, "HC2"))
write_rows(rows, "logistic.csv")
